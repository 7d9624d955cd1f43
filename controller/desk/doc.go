// Package desk does the work of the commands beside the daemon: it reads the files and
// folders that flags name, asks the rooms that know, and prints what they say. The
// command line itself, its flags, signals and exit codes, is cmd/leat.
package desk
