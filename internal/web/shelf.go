package web

import "sync"

// shelf keeps the last few things made, by what they were made for. It is safe
// for concurrent use.
type shelf[T any] struct {
	mu   sync.Mutex
	most int
	keys []string // the longest unused first
	held map[string]T
}

func newShelf[T any](most int) *shelf[T] {
	return &shelf[T]{most: most, held: map[string]T{}}
}

func (s *shelf[T]) get(key string) (T, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	v, ok := s.held[key]
	if ok {
		s.touch(key)
	}
	return v, ok
}

func (s *shelf[T]) put(key string, v T) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.held[key] = v
	s.touch(key)
	if len(s.keys) > s.most {
		delete(s.held, s.keys[0])
		s.keys = s.keys[1:]
	}
}

func (s *shelf[T]) touch(key string) {
	for i, k := range s.keys {
		if k == key {
			s.keys = append(s.keys[:i], s.keys[i+1:]...)
			break
		}
	}
	s.keys = append(s.keys, key)
}
