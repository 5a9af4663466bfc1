// Package finding has the observations that a keeper can report at a task: eggs
// laid, a weight, refused food. Each finding is one [Row] of [All]. A row says
// how to read the finding from a reply, store it in the daybook, combine it
// with earlier reports, repeat it in words, and which tasks and records it
// fits. The reply grammar, the daybook, the digest and the planner loop over
// the rows and name no finding.
//
// [Values] holds the observations, with a field for each finding, because the
// planner reads the fields. To add a finding, add a row, and a field in Values
// if no field fits.
package finding

import (
	"fmt"
	"reflect"
	"strings"

	"nestround/tasks/husbandry"
)

// Values has the observations at a task. Each field is a slot: a later finding
// replaces the slots that it fills, and leaves the others (see [Merge]). The
// daybook has the slots in the order of the fields.
type Values struct {
	// Laid is the number of eggs of a clutch, without slugs. It is Uncounted if
	// the female has laid but the eggs are still in the box.
	Laid  *int `json:"laid,omitempty"`
	Slugs *int `json:"slugs,omitempty"`
	// More is the number of eggs that came after the eggs of Laid.
	More *int `json:"more,omitempty"`
	// Outside says that eggs were laid outside the nest box.
	Outside bool `json:"outside,omitempty"`
	// Mother is the female that laid a clutch that somebody found.
	Mother  husbandry.ID `json:"mother,omitempty"`
	Hatched *int         `json:"hatched,omitempty"` // number of young that hatched on the day of the report
	// Dead is the number of incubated eggs that were found dead on the day of
	// the report.
	Dead *int `json:"dead,omitempty"`
	// Veins is the number of eggs in which candling showed veins. It is
	// Uncounted if nobody counted the eggs.
	Veins *int `json:"veins,omitempty"`
	// Moved is the incubator to which a clutch's tub was moved.
	Moved husbandry.ID `json:"moved,omitempty"`
	// Ended says that the clutch is finished: nobody expects more young.
	Ended bool `json:"ended,omitempty"`
	// Weighs is a mass. For a group or a clutch's young, it is the mean mass,
	// and Each has the single masses if they were reported. For one animal,
	// Each is nil.
	Weighs  *husbandry.Grams       `json:"weighs_g,omitempty"`
	Each    []husbandry.Grams      `json:"each_g,omitempty"`
	Added   *husbandry.Millilitres `json:"added_ml,omitempty"`
	Refused bool                   `json:"refused,omitempty"`
	Mated   bool                   `json:"mated,omitempty"`
	// With is the male that was put together with the female. The task of the
	// pairing named the male.
	With   husbandry.ID `json:"with,omitempty"`
	Gravid *bool        `json:"gravid,omitempty"`
	// Ordered is the number of packs of a feeder that were ordered. Stock is
	// the number of insects that were counted.
	Ordered *int `json:"ordered,omitempty"`
	Stock   *int `json:"stock,omitempty"`
	// Digging says that a female digs, or searches for a place to lay.
	Digging bool   `json:"digging,omitempty"`
	Sexed   *Sexed `json:"sexed,omitempty"`
	// UVI is the ultraviolet index under a lamp, at the animal's back.
	UVI *float64 `json:"uvi,omitempty"`
	// Shed says whether a shed came off whole. For a stuck shed, Note has the
	// places.
	Shed Shed `json:"shed,omitempty"`
	// Ill says that an animal looks ill, or that a test was positive. Note has
	// the signs in words.
	Ill  bool   `json:"ill,omitempty"`
	Note string `json:"note,omitempty"`
}

// Shed is the outcome of a shed; "" if nothing was reported.
type Shed string

// The outcomes of a shed.
const (
	Whole Shed = "whole"
	Stuck Shed = "stuck" // parts of the old skin remain
)

// Clone returns a copy of g with copied texts. The texts of a parsed finding
// are parts of a whole file, which would stay in memory.
func Clone(g *Values) *Values {
	c := *g
	fields := reflect.ValueOf(&c).Elem()
	for i := range fields.NumField() {
		if f := fields.Field(i); f.Kind() == reflect.String && f.Len() > 0 {
			f.SetString(strings.Clone(f.String()))
		}
	}
	return &c
}

// Sexed has the numbers of males, of females and of animals whose sex could not
// be told.
type Sexed struct {
	Males   int `json:"males"`
	Females int `json:"females"`
	Unsure  int `json:"unsure"`
}

// All is the number of animals that were examined.
func (s Sexed) All() int { return s.Males + s.Females + s.Unsure }

// String writes s in the usual notation of the trade, males.females.unsure:
// "2.1.3".
func (s Sexed) String() string { return fmt.Sprintf("%d.%d.%d", s.Males, s.Females, s.Unsure) }

// Uncounted is the value of Laid and Veins if nobody has counted the eggs yet.
const Uncounted = -1
