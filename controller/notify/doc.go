// Package notify tells people of alarms where no Prometheus does: by a signed webhook, by
// mail, or both, in the words of the alarm's own row. It is the only importer of net/smtp,
// and decides nothing about dosing.
//
// The book (book.go) is pure: what the view says goes in, letters come out. One cause rings
// once for all its tanks; what comes back within ten minutes is the same trouble; what rises
// in priority rings anew; tomorrow's waits until seven in the morning; nobody who acknowledged
// is called again, and who did not is called again after ten minutes and then each quarter of
// an hour. What is kept quiet on the page, and what a person does on purpose, rings nobody.
//
// Choices, and what was rejected:
//   - Over is told of what called at once, by the run of the daemon that saw it come and saw it
//     stay away for ten minutes. A restart is no all-clear: what was told before it and does not
//     come again is dropped without a word.
//   - A letter waits in a list of its door, not in a queue: one that is refused never holds the
//     next one back. The loop only adds to that list; nothing in this room is waited for.
//   - What was told, and the key of the links, is kept in the state folder, so that a daemon
//     that starts over and over rings once and a link from before the restart still works. A
//     letter that no door took is told again after a restart.
//   - A link bears the ring's own random id under a MAC. It acknowledges that ring, once; it is
//     void when the alarm rose, went or was acknowledged. GET shows and POST acts: scanners of
//     mail follow links. Rejected: a link that signs in, which could be forwarded; a reply by
//     mail, which anybody can write.
//   - The dead-man is not here: who is gone cannot say so. A watcher of the daemon's topic
//     online, or of /healthz, can.
package notify
