// Command leat keeps pH and EC of recirculated nutrient solution at setpoint. Each
// subcommand has a file here that reads flags and calls the room that does the work.
//
// What was decided here, why, and what was rejected:
//
// # The command line is Go's own package flag
//
// A command is a row of one table: its name, a line, and a function that declares its flags and returns what it does.
// Help, exit codes, completion and the manual page are made from that table (completion.go), and the shells' scripts ask
// the program, so they cannot fall behind it. Weighed against cobra (scripts for four shells, a generator of manual pages;
// brings pflag, and for the pages a Markdown converter) and kong (flags as tags of a struct; completion by a third library).
// Both write long flags with two dashes only: "-config FILE", which service files, documents and people's scripts have,
// would be read as "-c onfig" or refused. Package flag takes one dash and two, and costs nothing. The one thing it lacks,
// flags behind the words, is ten lines (flags.go).
//
// # What a command prints is made elsewhere
//
// The text and JSON of a mixture are in dosing/blend/worksheet, of a solution in dosing/chem/solution, of the record in
// controller/store. Here are files, flags, terminals and exit codes.
package main
