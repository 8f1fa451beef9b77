package api

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/google/uuid"

	"toeboard/weather/fault"
)

// passwordCost is argon2id with 19 MiB, two passes, one lane (OWASP password
// storage, from memory).
var passwordCost = argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// Password lengths in characters. The upper one keeps hashing bounded.
const (
	shortestPassword = 10
	longestPassword  = 256
)

// gate checks passwords. Everything about it takes the same time for an e-mail
// that exists and one that does not.
//
// Whoever guesses waits, and nobody can make somebody else wait who is not at
// the same place: wrong tries for an e-mail count against the place they come
// from. Many wrong tries for one e-mail from many places make each further one
// a few seconds slower and refuse none.
type gate struct {
	accounts accounts
	now      func() time.Time
	hashing  chan struct{} // one place for each hash that may run at once
	nobody   string        // a hash that no password has, for unknown e-mails
	byPair   *delays       // failures of one e-mail from one place
	byPlace  *tries        // failures from one place, a whole office perhaps
	byEmail  *tries        // failures of one e-mail from anywhere: these only slow
	pause    func(context.Context, time.Duration) error
}

func newGate(a accounts, now func() time.Time) (*gate, error) {
	nobody, err := argon2id.CreateHash(uuid.NewString()+uuid.NewString(), &passwordCost)
	if err != nil {
		return nil, fmt.Errorf("make the hash that nobody has: %w", err)
	}
	const window, keys = 15 * time.Minute, 10_000
	return &gate{
		accounts: a, now: now, nobody: nobody,
		hashing: make(chan struct{}, 2), // 2 x 19 MiB at most
		byPair:  newDelays(5, 30*time.Second, window, time.Hour, keys),
		byPlace: newTries(50, window, keys),
		byEmail: newTries(20, window, keys),
		pause:   sleep,
	}, nil
}

var wrongSignIn = fault.Error{Kind: fault.Unsigned, Field: "e-mail or password", Want: "one of the two is not right: type both again"}

// check finds the person of an e-mail and a password. firm chooses where one
// e-mail signs in to several firms; uuid.Nil = not said. place is the network
// address of whoever asks. A try is counted before the password is looked at,
// so that many at once are counted too, and taken back when it was right.
func (g *gate) check(ctx context.Context, email, password string, firm uuid.UUID, place string) (login, error) {
	email = strings.ToLower(strings.TrimSpace(email))
	if err := g.count(email, place); err != nil {
		return login{}, err
	}
	if g.byEmail.count(email, g.now()) > 0 {
		if err := g.pause(ctx, slowly); err != nil {
			return login{}, err
		}
	}
	l, err := g.find(ctx, email, password, firm)
	if fault.KindOf(err) != fault.Unsigned {
		g.takeBack(email, place)
	}
	if err == nil {
		g.byPair.forget(pair(email, place))
	}
	return l, err
}

// slowly is how much longer a try takes for an e-mail that many others have
// tried: long for a guesser, bearable for the person whose e-mail it is.
const slowly = 3 * time.Second

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func pair(email, place string) string { return email + " " + place }

func (g *gate) find(ctx context.Context, email, password string, firm uuid.UUID) (login, error) {
	found, err := g.accounts.byEmail(ctx, email)
	if err != nil {
		return login{}, err
	}
	matched, err := g.matching(ctx, found, password, firm)
	if err != nil {
		return login{}, err
	}
	switch len(matched) {
	case 0:
		wrong := wrongSignIn
		return login{}, &wrong
	case 1:
		return matched[0], nil
	default:
		return login{}, fault.Changed("firm", "", "this e-mail signs in to more than one firm: say which by firm_id")
	}
}

// count counts a try, or refuses it when it comes too early.
func (g *gate) count(email, place string) error {
	now := g.now()
	if wait := g.byPair.count(pair(email, place), now); wait > 0 {
		return tooEarly("too many wrong tries for this e-mail", wait)
	}
	if wait := g.byPlace.count(place, now); wait > 0 {
		g.byPair.takeBack(pair(email, place))
		return tooEarly("too many wrong tries from your network", wait)
	}
	return nil
}

func tooEarly(why string, wait time.Duration) error {
	return &refusal{kind: tooMany, retryAfter: wait, detail: fmt.Sprintf("%s: wait %s, then try again", why, waitInWords(wait))}
}

// waitInWords rounds up: a try after that long is not too early.
func waitInWords(d time.Duration) string {
	if seconds := int((d + time.Second - 1) / time.Second); seconds < 120 {
		return counted(seconds, "second", "seconds")
	}
	return counted(int((d+time.Minute-1)/time.Minute), "minute", "minutes")
}

func (g *gate) takeBack(email, place string) {
	g.byPair.takeBack(pair(email, place))
	g.byEmail.takeBack(email)
	g.byPlace.takeBack(place)
}

// matching compares the password with every sign-in found. Where there is none
// it compares with the hash that nobody has, so that the answer takes as long.
func (g *gate) matching(ctx context.Context, found []login, password string, firm uuid.UUID) ([]login, error) {
	if len(found) == 0 {
		_, err := g.compare(ctx, password, g.nobody)
		return nil, err
	}
	var matched []login
	for _, l := range found {
		ok, err := g.compare(ctx, password, l.Hash)
		if err != nil {
			return nil, err
		}
		if ok && (firm == uuid.Nil || firm == l.Firm) {
			matched = append(matched, l)
		}
	}
	return matched, nil
}

// compare hashes at most as many passwords at once as there are places. Costs
// read back from the database are capped: a hash that somebody planted must not
// take all the memory.
func (g *gate) compare(ctx context.Context, password, hash string) (bool, error) {
	select {
	case g.hashing <- struct{}{}:
		defer func() { <-g.hashing }()
	case <-ctx.Done():
		return false, ctx.Err()
	}
	cost, _, _, err := argon2id.DecodeHash(hash)
	if err != nil {
		return false, fmt.Errorf("read a password hash: %w", err)
	}
	if cost.Memory > 64*1024 || cost.Iterations > 10 || cost.Parallelism > 4 {
		return false, fmt.Errorf("a password hash asks for %d KiB and %d passes: refused", cost.Memory, cost.Iterations)
	}
	return argon2id.ComparePasswordAndHash(password, hash)
}

// hash makes the hash of a new password.
func (g *gate) hash(ctx context.Context, password string) (string, error) {
	if n := len([]rune(password)); n < shortestPassword || n > longestPassword {
		return "", fault.Bad("password", fmt.Sprintf("%d characters", n), fmt.Sprintf("%d to %d characters", shortestPassword, longestPassword))
	}
	select {
	case g.hashing <- struct{}{}:
		defer func() { <-g.hashing }()
	case <-ctx.Done():
		return "", ctx.Err()
	}
	return argon2id.CreateHash(password, &passwordCost)
}
