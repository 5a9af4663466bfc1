// Package ration answers what and how much: what a powder gives, how many
// feeder insects an animal is offered, how many are used in a week, and when
// to order how many boxes of them.
//
// Start with [PowderOf]. Everything is a pure computation on civil dates and
// numbers. Which tasks there are, for whom, and what was recorded of them is
// scheduler's business.
package ration
