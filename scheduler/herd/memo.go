package herd

import "sync"

// memo stores costly answers, so that each is computed once. Several goroutines
// may ask at once. The function that computes an answer may ask the memo for
// other keys, and may ask other memos; it must not ask for the key that it
// computes.
type memo[K comparable, V any] struct {
	mu sync.Mutex
	m  map[K]*once[V]
}

type once[V any] struct {
	sync.Once
	v V
}

func (m *memo[K, V]) of(k K, work func() V) V {
	m.mu.Lock()
	if m.m == nil {
		m.m = make(map[K]*once[V])
	}
	o, ok := m.m[k]
	if !ok {
		o = new(once[V])
		m.m[k] = o
	}
	m.mu.Unlock()
	o.Do(func() { o.v = work() })
	return o.v
}
