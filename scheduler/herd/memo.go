package herd

import "sync"

// memo remembers answers that cost something, so that each is worked out once.
// Several goroutines may ask at once. An answer may ask for others of other
// memos, or of other keys; it must not ask for itself.
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
