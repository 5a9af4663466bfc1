// Package reply reads the keeper's answer to a digest. It turns the bytes of a
// mail into acts for the daybook, and reports the lines that it did not
// understand.
//
// The files follow the steps. [Read] turns bytes into a [Mail] with lines of
// text. [Identify] finds the digest that the mail answers. [Judge] decides
// whether the mail is a keeper's own word, or comes from a machine, a stranger
// or a forger. [Own] drops quotes, [Parse] reads the commands in the remaining
// lines, and [Resolve] turns their numbers into tasks. The shell's "mark" and
// the page need only Parse and Resolve.
//
// The safety of all this rests on one rule: a line is a command only if the
// whole line is a command. All other lines are ignored and reported. An
// unrecognised quote, a signature or a greeting in any language can at worst
// remain unread; it cannot mark a task. The package therefore needs no list of
// the many ways to write "On Tuesday, somebody wrote:".
//
// The remaining danger is a quote that repeats a command word for word. Three
// measures help. The examples in a digest have letters in place of numbers
// ("done N N"). No line of a digest is a command, even if it is broken at any
// space (the digest's tests try all of them). And [Own] drops every line that
// equals a line of the digest or of an answer to it. An earlier answer of the
// keeper, quoted without marks, is left to tasks.Fold, which knows every
// answer, in any order of arrival.
//
// The package opens no mailbox, reads no clock and writes nothing.
package reply
