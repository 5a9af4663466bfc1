// Package finding knows what a keeper can observe at a task: eggs laid, a
// weight, food refused. Each finding is one [Row] of [All]. The row says how
// the finding is read from an answer, stored in the daybook, joined with what
// was said before, said back in words, and which tasks and records it fits.
// The reply grammar, the daybook, the digest and the planner loop over the
// rows and know no finding by name.
//
// [Values] holds what was observed, with a field for each finding, because the
// planner reads the fields. To add a finding, add a field there if no field
// fits, and a row.
package finding

import (
	"fmt"
	"reflect"
	"strings"

	"nestround/tasks/husbandry"
)

// Values is what was observed at a task. Each field is a slot of its own: a
// later finding replaces the slots it fills and leaves the others (see
// [Merge]). The order of the fields is their order in the daybook.
type Values struct {
	// Laid is the number of eggs of a clutch, slugs not among them; Uncounted
	// where she has laid but the eggs are still in the box.
	Laid  *int `json:"laid,omitempty"`
	Slugs *int `json:"slugs,omitempty"`
	// More is the number of eggs that came after those of Laid.
	More *int `json:"more,omitempty"`
	// Outside says that eggs were laid outside the nest box.
	Outside bool `json:"outside,omitempty"`
	// Mother is the female that laid a clutch that was found.
	Mother  husbandry.ID `json:"mother,omitempty"`
	Hatched *int         `json:"hatched,omitempty"` // young, on that day
	// Dead is the number of eggs set that were found dead, on that day.
	Dead *int `json:"dead,omitempty"`
	// Veins is the number of eggs in which candling showed veins; Uncounted
	// where veins were seen and nobody counted.
	Veins *int `json:"veins,omitempty"`
	// Moved is the incubator that a clutch's tub was moved to.
	Moved husbandry.ID `json:"moved,omitempty"`
	// Ended says that nothing more is expected of a clutch.
	Ended bool `json:"ended,omitempty"`
	// Weighs is a mass. For a group or a clutch's young it is the mean of the
	// single masses. Each has the single masses where they were said, and is
	// nil for one animal.
	Weighs  *husbandry.Grams       `json:"weighs_g,omitempty"`
	Each    []husbandry.Grams      `json:"each_g,omitempty"`
	Added   *husbandry.Millilitres `json:"added_ml,omitempty"`
	Refused bool                   `json:"refused,omitempty"`
	Mated   bool                   `json:"mated,omitempty"`
	// With is the male that a female was put together with, as her task named
	// him.
	With   husbandry.ID `json:"with,omitempty"`
	Gravid *bool        `json:"gravid,omitempty"`
	// Ordered is the number of packs of a feeder that were ordered, Stock the
	// number of insects counted.
	Ordered *int `json:"ordered,omitempty"`
	Stock   *int `json:"stock,omitempty"`
	// Digging says that a female digs or searches for a place to lay.
	Digging bool   `json:"digging,omitempty"`
	Sexed   *Sexed `json:"sexed,omitempty"`
	// UVI is the ultraviolet index under a lamp, at the animal's back.
	UVI *float64 `json:"uvi,omitempty"`
	// Shed is how a shed came off; of a stuck shed, Note has the places.
	Shed Shed `json:"shed,omitempty"`
	// Ill says that an animal looks ill, or that a test found something; Note
	// has the signs in words.
	Ill  bool   `json:"ill,omitempty"`
	Note string `json:"note,omitempty"`
}

// Shed is how an animal's shed came off: "" where nothing was said.
type Shed string

// The ways in which a shed comes off.
const (
	Whole Shed = "whole"
	Stuck Shed = "stuck" // rests are left on it
)

// Clone returns a copy of g that keeps no other text alive: the texts of a
// finding that was read are parts of the file that it stands in.
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

// Sexed is how many of an animal, a group or a clutch's young were told to be
// males and females, and of how many the sex could not be told.
type Sexed struct {
	Males   int `json:"males"`
	Females int `json:"females"`
	Unsure  int `json:"unsure"`
}

// All is how many were looked at.
func (s Sexed) All() int { return s.Males + s.Females + s.Unsure }

// String writes s as the trade does: males.females.unsure, "2.1.3".
func (s Sexed) String() string { return fmt.Sprintf("%d.%d.%d", s.Males, s.Females, s.Unsure) }

// Uncounted is the value of Laid and Veins for eggs that nobody has counted
// yet.
const Uncounted = -1
