package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// permitEvents lists the days on which permits are to be renewed.
func permitEvents(d *plan.Day, _ civil.Date) []happening {
	var list []happening
	for i := range d.Records.Permits {
		v := &d.Records.Permits[i]
		on := v.Expires.AddDays(-int(v.Remind))
		if on.After(d.Horizon) {
			continue
		}
		words := "runs out on " + d.DateWords(v.Expires)
		if v.Expires.Before(d.On) {
			words = "ran out on " + d.DateWords(v.Expires)
		}
		list = append(list, happening{event: husbandry.EventExpiry, on: on, instance: v.Expires.String(), permit: v, words: words,
			slack: v.Remind}) // the renewal is late after the last day of the permit
	}
	return list
}

// permitSubject returns the permit of an event, for a routine of the keeper.
func permitSubject(d *plan.Day, r *plan.Routine, e happening) (s *plan.Subject, theirs bool) {
	if e.permit == nil {
		return nil, false
	}
	if r.Scope == husbandry.OfKeeper {
		s = d.Subject(e.permit.ID)
	}
	return s, true
}
