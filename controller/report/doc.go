// Package report makes of the rows of a record what a grower wants to know of a
// time: what was dosed, why something was withheld, who changed what, how long the
// stocks last. It reads no disk and no clock: the time is the record's own, so that a
// stopped farm and a simulated one are reported like a running one.
//
// Decision: a dose counts as withheld only while pH or EC called for one, or while
// nobody could know. An interlock that stood while nothing was wanted kept nothing
// back and is not told. What only spaces doses (mixing, changeover, caps of an hour)
// is summed; from a quarter of an hour on it is told like an interlock, for then a
// person would ask. Of several interlocks that stand together the uppermost of the
// table is named: the others follow from it.
//
// Decision: in band means within the band in which no dose is begun, around the
// setpoint as it was in that minute, ramp and all. Minutes without a reading count
// for neither side and are told.
package report
