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
type gate struct {
	accounts accounts
	now      func() time.Time
	hashing  chan struct{} // one place for each hash that may run at once
	nobody   string        // a hash that no password has, for unknown e-mails
	byPair   *tries        // failures of one e-mail from one address
	byEmail  *tries        // failures of one e-mail from anywhere
	byPlace  *tries        // failures from one address
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
		byPair:  newTries(5, window, keys),
		byEmail: newTries(50, window, keys),
		byPlace: newTries(50, window, keys),
	}, nil
}

var wrongSignIn = fault.Error{Kind: fault.Unsigned, Field: "e-mail or password", Want: "one of the two is not right: type both again"}

// check finds the person of an e-mail and a password. firm chooses where one
// e-mail signs in to several firms; uuid.Nil = not said. place is the network
// address of whoever asks. A try is counted before the password is looked at,
// so that many at once are counted too, and taken back when it was right.
func (g *gate) check(ctx context.Context, email, password string, firm uuid.UUID, place string) (login, error) {
	email = strings.ToLower(strings.TrimSpace(email))
	if wait := g.count(email, place); wait > 0 {
		return login{}, &refusal{kind: tooMany, retryAfter: wait,
			detail: fmt.Sprintf("too many wrong tries: wait %d minutes, or ask the office for a new password", int(wait.Minutes())+1)}
	}
	l, err := g.find(ctx, email, password, firm)
	if fault.KindOf(err) != fault.Unsigned {
		g.takeBack(email, place)
	}
	if err == nil {
		g.byPair.forget(email + " " + place)
	}
	return l, err
}

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

// count counts a try and tells how long to wait first; 0 = not at all.
func (g *gate) count(email, place string) time.Duration {
	now := g.now()
	return max(g.byPair.count(email+" "+place, now), g.byEmail.count(email, now), g.byPlace.count(place, now))
}

func (g *gate) takeBack(email, place string) {
	g.byPair.takeBack(email + " " + place)
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
