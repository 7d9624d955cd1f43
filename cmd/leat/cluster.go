//go:build cluster

package main

import "leat/controller/fleet"

func init() { runShared = fleet.Run }
