package main

import (
	"flag"
	"io"

	"leat/controller/desk"
)

const aclUsage = `usage: leat acl -config FILE

Writes the rights of every user of the broker, in Mosquitto's format: the daemon, each pump node, the probes of
each tank, irrigation, laboratory, phone. Only the daemon may order; a node reports for its own pumps alone; a
phone asks. Put it where acl_file of the broker points, and give each user a password with mosquitto_passwd.

`

// aclCommand is leat acl.
func aclCommand(flags *flag.FlagSet) task {
	path := flags.String("config", "", "the configuration `FILE`")
	return task{usage: aclUsage, do: func(stdout, _ io.Writer) error {
		if *path == "" {
			return desk.Misuse("name the file: leat acl -config FILE")
		}
		return desk.ACL(*path, stdout)
	}}
}
