// Package ration computes food and supplements: the vitamins in a powder, the
// number of feeder insects for an animal, the number used in a week, and the
// orders of boxes of insects.
//
// Start with [PowderOf]. All functions are pure computations on civil dates and
// numbers. The scheduler decides which tasks there are, and for whom, and
// collects the records about them.
package ration
