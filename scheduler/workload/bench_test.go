package workload_test

import (
	"fmt"
	files "nestround/config/books"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/sample"
)

var sizes = []int{12, 60, 200}

// Sixty days of a colony, as a list.
func BenchmarkSolve(b *testing.B) {
	for _, n := range sizes {
		b.Run(fmt.Sprintf("enclosures=%d", n), func(b *testing.B) {
			c := sample.Make(n, 1, 1)
			c.Records.Called = files.Called()
			in := scheduler.Input{Records: c.Records, History: tasks.Fold(c.Entries), On: c.On, To: c.On.AddDays(60)}
			p := coming(scheduler.Plan(in), in)
			before := workload.Measure(p).Peak
			var s workload.Solution
			for b.Loop() {
				s = workload.Solve(p)
			}
			b.ReportMetric(float64(before), "peak-before")
			report(b, s.Load)
		})
	}
}

// The plan of the coming four weeks as `ahead` shows it, with all that it
// stands on: of a colony whose keeper has lived by it for five weeks, which
// takes a while to do.
func BenchmarkPlan(b *testing.B) {
	for _, n := range sizes {
		if testing.Short() && n == 200 {
			continue
		}
		k := newKeeper(n, workload.Wishes{Settled: 3})
		k.live(35)
		b.Run(fmt.Sprintf("enclosures=%d", n), func(b *testing.B) {
			h := tasks.Fold(k.entries)
			in := k.input(h, 28)
			before := workload.Measure(coming(scheduler.Plan(in), in)).Peak
			in.History = h.Before(k.on)
			full := &board{kept: make(map[civil.Date]entry)}
			workload.NewPlanner(in, k.wishes).With(full, "").Plan(in)
			for name, planner := range map[string]func() *workload.Planner{
				"cold":  func() *workload.Planner { return workload.NewPlanner(in, k.wishes) },
				"shelf": func() *workload.Planner { return workload.NewPlanner(in, k.wishes).With(full, "") },
			} {
				b.Run(name, func(b *testing.B) {
					var p []tasks.Task
					for b.Loop() {
						p = planner().Plan(in)
					}
					b.ReportMetric(float64(before), "peak-before")
					report(b, workload.Measure(coming(p, in)))
				})
			}
		})
	}
}

// coming is the tasks of a plan that are due after its day.
func coming(p []tasks.Task, in scheduler.Input) workload.Problem {
	w := workload.Problem{From: in.On.AddDays(1), To: in.To}
	for _, t := range p {
		if t.Due.After(in.On) {
			w.Tasks = append(w.Tasks, t)
		}
	}
	return w
}

func report(b *testing.B, l workload.Load) {
	b.ReportMetric(float64(l.Peak), "peak")
	b.ReportMetric(float64(l.Bound), "bound")
	b.ReportMetric(100*l.Gap(), "gap-%")
}
