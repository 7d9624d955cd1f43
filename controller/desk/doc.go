// Package desk does the work of the commands beside the daemon: it reads the files and
// folders that flags name, asks the rooms that know, and prints what they say. The
// command line itself, its flags, signals and exit codes, is cmd/leat.
//
// # The progress bar is a line that is written again
//
// Weighed against schollz/progressbar (v3.19.1, five modules): speeds, spinners and the width of the
// terminal, of which a rehearsal needs none. Ours are ten lines of desk.go, silent where stderr is no terminal.
package desk
