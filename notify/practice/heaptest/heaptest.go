// Package heaptest measures the memory that a test uses on the heap, and fails
// the test if that is too much. Start with [Limit]. It does not count stacks, and
// counts the memory of all packages together.
package heaptest

import (
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"sync/atomic"
	"testing"
	"time"
)

// Limit calls stop and fails the test if the heap grows by more than limit bytes
// from now to the end of the test. Tests that run at the same time count too. It
// collects garbage often, so that it measures memory that is in use.
func Limit(t *testing.T, limit uint64, stop func()) {
	t.Helper()
	before := debug.SetGCPercent(10)
	runtime.GC()
	start := heap()
	var peak atomic.Uint64
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(time.Millisecond)
		defer tick.Stop()
		for exceeded := false; ; {
			if now := heap(); now > start && now-start > peak.Load() {
				peak.Store(now - start)
			}
			if peak.Load() > limit && !exceeded {
				exceeded = true
				stop()
			}
			select {
			case <-tick.C:
			case <-done:
				return
			}
		}
	}()
	t.Cleanup(func() {
		close(done)
		<-ended
		debug.SetGCPercent(before)
		t.Logf("the heap grew by %d KiB at most", peak.Load()>>10)
		if peak.Load() > limit {
			t.Errorf("the heap grew by %d MiB, more than %d MiB", peak.Load()>>20, limit>>20)
		}
	})
}

func heap() uint64 {
	s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}
