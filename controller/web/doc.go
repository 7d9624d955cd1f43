// Package web is the page, sign-in, health and the local socket. It sees a
// read-only View and sends Requests; it decides nothing and can widen no limit.
//
// # Decisions
//
// Who is asked what. A phone that its owner trusts may, for months and without a password,
// look, acknowledge, pause and stop: what is urgent at night must not wait for a password.
// What lets more happen, or quiets an alarm, is asked of a person: a password or a passkey
// within the hour (proofHolds). One rule holds for trusted phones and for browsers that
// signed in a while ago. Rejected: a second, shorter code for the night, which is one more
// secret to lose; and trust that may do all, which a phone left on a table would have.
//
// Passkeys without a library. What is needed of Web Authentication is the check of a
// signature over bytes of fixed places: the browser hands over the public key in a form that
// crypto/x509 reads, and no attestation is asked for, since who adds a key has proved who
// they are. That is a file of ours and nothing else. Rejected: github.com/go-webauthn/webauthn,
// which is well kept, and brings nine modules along (CBOR, tokens, a security chip's protocol)
// that would serve attestation alone. A device of the test is written by the standard, and
// chromium's own one signs in too.
//
// What is lent ends by the clock. A role that is lent to a helper stands beside their own
// one with its end, and each request asks which holds now. Rejected: a job that lowers roles
// when the time is up, which must run to be safe.
//
// Languages by the text itself. A page is made in English and said in another language as it
// goes out, text by text, by a catalog whose keys are the English texts (language/de.txt). So
// templates and the pure packages, which make whole sentences of verdicts and alarms, stay
// plain, and a text that a catalog lacks is read in English rather than not at all. A test
// holds every text of the pages and of the interlocks against each catalog. What people
// wrote, names, and what a form sends are left alone. A language that somebody chose is theirs: it is
// kept with their name and set at each sign-in. Rejected: keys in templates and in the
// core with golang.org/x/text/message, which nobody can read as a page any more.
//
// Sessions and limits without a library. Weighed against alexedwards/scs (v2.9.0, 1,200 lines),
// which keeps bytes under a random token and no more: what makes up our 236 lines (roles that are lent
// and end, one-time links, trusted phones, the list of who is signed in, one hash at a time) would
// stay, with an encoding for each in between. Against golang.org/x/time/rate (500 lines), a
// bucket of tokens for one caller: what guesses at passwords need is the count by address and
// name with a bound on how many are remembered (attempts.go), and that would stay around it.
package web
