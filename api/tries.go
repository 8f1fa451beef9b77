package api

import (
	"sync"
	"time"
)

// tries counts something by key in fixed windows of time, to slow down whoever
// guesses. It lives in memory and forgets at a restart: what it protects also
// has slow hashes and long tokens. It never holds more than max keys, so that a
// flood of keys cannot fill the memory.
type tries struct {
	limit  int           // how many a window allows
	window time.Duration // how long a window is
	max    int           // how many keys are kept

	mu   sync.Mutex
	keys map[string]*tried
}

type tried struct {
	since time.Time
	count int
}

func newTries(limit int, window time.Duration, max int) *tries {
	return &tries{limit: limit, window: window, max: max, keys: map[string]*tried{}}
}

// count counts one try and tells how long the key must wait first; 0 = not at
// all. A try that must wait is not counted.
func (t *tries) count(key string, now time.Time) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	k, ok := t.keys[key]
	if !ok || now.Sub(k.since) >= t.window {
		if !ok && len(t.keys) >= t.max {
			t.makeRoom(now)
		}
		k = &tried{since: now}
		t.keys[key] = k
	}
	if k.count >= t.limit {
		return t.window - now.Sub(k.since)
	}
	k.count++
	return 0
}

// takeBack undoes one count: for a try that was no failure.
func (t *tries) takeBack(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if k, ok := t.keys[key]; ok && k.count > 0 {
		k.count--
	}
}

// forget clears a key: for a sign-in that worked.
func (t *tries) forget(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.keys, key)
}

// makeRoom removes the windows that ended; when none did, the oldest one.
func (t *tries) makeRoom(now time.Time) {
	oldest, at := "", now
	for key, k := range t.keys {
		if now.Sub(k.since) >= t.window {
			delete(t.keys, key)
		} else if !k.since.After(at) {
			oldest, at = key, k.since
		}
	}
	if len(t.keys) >= t.max {
		delete(t.keys, oldest)
	}
}
