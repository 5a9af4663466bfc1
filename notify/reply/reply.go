// Package reply reads the keeper's answer to a digest: from the bytes of a
// mail to the acts that go into the daybook, and what was not understood.
//
// The way is the order of the files. [Read] turns bytes into a [Mail] with
// lines of text. [Identify] finds the digest it answers, [Judge] tells whether
// it is a keeper's own word or a machine's, a stranger's or a forgery.
// [Own] drops what is quoted, [Parse] reads commands in what is left, and
// [Resolve] turns their numbers into tasks. The shell's "mark" and the page
// need only Parse and Resolve.
//
// The safety of the whole rests on one rule: a line is a command only if the
// whole line is one, and everything else is ignored and reported. So a quote
// that nobody recognised, a signature or a greeting in any language can at
// worst leave something unread; it cannot mark a task. No list of the world's
// ways to write "On Tuesday, somebody wrote:" is kept.
//
// What stays dangerous is a quote that repeats a command word for word. So a
// digest's examples have letters where numbers stand ("done N N"), none of its
// lines is a command however it is broken (the digest's tests try every way),
// and [Own] drops whatever equals a line of the digest or of an answer to it.
// The keeper's own earlier answer, quoted without marks, is left to tasks.Fold,
// where every answer is known, whatever order they arrived in.
//
// The package opens no mailbox, reads no clock and writes nothing.
package reply
