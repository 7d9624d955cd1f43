package main

import "syscall"

const terminate = syscall.SIGTERM
