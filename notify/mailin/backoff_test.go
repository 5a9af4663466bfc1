package mailin

import (
	"testing"
	"time"
)

func TestBackoff(t *testing.T) {
	for n := range 200 {
		for _, chance := range []float64{0, 0.5, 0.999999} {
			d := backoff(n, time.Second, 5*time.Minute, chance)
			full := 5 * time.Minute
			if n < 9 { // 2^8 s is the last pause below five minutes
				full = time.Second << n
			}
			if d < full/2 || d > full {
				t.Errorf("failure %d, chance %v: %s, want %s to %s", n, chance, d, full/2, full)
			}
		}
	}
}
