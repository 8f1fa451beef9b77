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

// delays makes each key wait longer after each failure: the first ones cost
// nothing, then the wait doubles up to a longest one. Failures are
// forgotten some time after the last one. Like tries it lives in memory and
// holds no more than max keys.
type delays struct {
	free     int           // failures that cost nothing
	shortest time.Duration // the wait after the first failure beyond them
	longest  time.Duration // the wait at most
	forgets  time.Duration // how long failures are remembered after the last
	max      int           // how many keys are kept

	mu   sync.Mutex
	keys map[string]*delayed
}

type delayed struct {
	count       int
	last, until time.Time
}

func newDelays(free int, shortest, longest, forgets time.Duration, max int) *delays {
	return &delays{free: free, shortest: shortest, longest: longest, forgets: forgets, max: max, keys: map[string]*delayed{}}
}

// count counts one failure ahead of time and tells how long the key must wait
// first; 0 = not at all. A try that must wait is not counted.
func (d *delays) count(key string, now time.Time) time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	k, ok := d.keys[key]
	if !ok || now.Sub(k.last) >= d.forgets {
		if !ok && len(d.keys) >= d.max {
			d.makeRoom(now)
		}
		k = &delayed{}
		d.keys[key] = k
	}
	if wait := k.until.Sub(now); wait > 0 {
		return wait
	}
	k.count, k.last = k.count+1, now
	if over := k.count - d.free; over >= 0 {
		k.until = now.Add(d.after(over))
	}
	return 0
}

// after is the wait after so many failures beyond the free ones.
func (d *delays) after(over int) time.Duration {
	wait := d.shortest
	for ; over > 0 && wait < d.longest; over-- {
		wait *= 2
	}
	return min(wait, d.longest)
}

// takeBack undoes one count: for a try that was no failure.
func (d *delays) takeBack(key string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if k, ok := d.keys[key]; ok && k.count > 0 {
		k.count--
		k.until = time.Time{}
	}
}

// forget clears a key: for a sign-in that worked.
func (d *delays) forget(key string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.keys, key)
}

// makeRoom removes what would be forgotten anyway; when that is nothing, the
// key that failed longest ago.
func (d *delays) makeRoom(now time.Time) {
	oldest, at := "", now
	for key, k := range d.keys {
		if now.Sub(k.last) >= d.forgets {
			delete(d.keys, key)
		} else if !k.last.After(at) {
			oldest, at = key, k.last
		}
	}
	if len(d.keys) >= d.max {
		delete(d.keys, oldest)
	}
}
