package calendar

import (
	"fmt"
	"io/fs"
	"sync"
)

// Memory is a [Store] that keeps its files in memory. The zero value is empty.
type Memory struct {
	mu    sync.Mutex
	files map[string][]byte
}

// Load implements [Store].
func (m *Memory) Load(name string) ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	b, ok := m.files[name]
	if !ok {
		return nil, fmt.Errorf("load %s: %w", name, fs.ErrNotExist)
	}
	return append([]byte(nil), b...), nil
}

// Save implements [Store].
func (m *Memory) Save(name string, data []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.files == nil {
		m.files = make(map[string][]byte)
	}
	m.files[name] = append([]byte(nil), data...)
	return nil
}
