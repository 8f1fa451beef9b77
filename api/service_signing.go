package api

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

// A PIN is what cold fingers can type on a phone that goes round: 4 to 8 digits.
// It is worth little to whoever holds the database, since so few digits can be
// tried one by one; what it shows is that the person was there and nobody else
// typed for them. So tries are few: after five wrong ones a person's next must
// wait, up to a quarter of an hour.
const (
	shortestPIN = 4
	longestPIN  = 8
)

func newPINTries() *delays { return newDelays(5, 30*time.Second, 15*time.Minute, 12*time.Hour, 10_000) }

// checkNewPIN refuses what is no PIN, and the few that anybody would try first.
// The value itself is never part of the refusal.
func checkNewPIN(pin string) error {
	if len(pin) < shortestPIN || len(pin) > longestPIN || strings.ContainsFunc(pin, func(r rune) bool { return r < '0' || r > '9' }) {
		return fault.Bad("pin", "", "4 to 8 digits")
	}
	same, up, down := true, true, true
	for i := 1; i < len(pin); i++ {
		step := int(pin[i]) - int(pin[i-1])
		same, up, down = same && step == 0, up && step == 1, down && step == -1
	}
	if same || up || down {
		return fault.Bad("pin", "", "digits that nobody guesses: not all the same and not in a row")
	}
	return nil
}

// SetPIN gives a person the PIN with which they sign, or changes it: the person
// by themselves, with the password, or the office.
func (s *Service) SetPIN(ctx context.Context, by Caller, person uuid.UUID, pin, password string) error {
	if err := checkNewPIN(pin); err != nil {
		return err
	}
	if _, err := s.personOf(ctx, by.Firm, person); err != nil {
		return err
	}
	switch {
	case may(by.Role, ChangePeople):
	case person != by.Person:
		return &fault.Error{Kind: fault.Forbidden, Field: "pin", Want: "only the person and the office set a PIN"}
	default:
		if err := s.ownPassword(ctx, by, password); err != nil {
			return err
		}
	}
	hash, err := s.hashSecret(ctx, pin)
	if err != nil {
		return err
	}
	if err := s.accounts.setPIN(ctx, by.Firm, person, by.Person, hash, s.now()); err != nil {
		return fmt.Errorf("set a PIN: %w", err)
	}
	s.pins.forget(pinKey(by.Firm, person))
	return nil
}

// personOf finds somebody of the firm.
func (s *Service) personOf(ctx context.Context, firm, person uuid.UUID) (schedule.Person, error) {
	people, err := s.schedule.People(ctx, firm)
	if err != nil {
		return schedule.Person{}, err
	}
	for _, p := range people {
		if p.ID == person {
			return p, nil
		}
	}
	return schedule.Person{}, fault.Missing("person", person.String())
}

// ownPassword asks for the password again: a phone that lies about unlocked must
// not be enough to take somebody's PIN over.
func (s *Service) ownPassword(ctx context.Context, by Caller, password string) error {
	hash, err := s.accounts.passwordHash(ctx, by.Firm, by.Person)
	if err != nil {
		return err
	}
	return s.matches(ctx, "password "+pinKey(by.Firm, by.Person), password, hash, fault.Bad("password", "", "your own password, as you sign in with it"))
}

// checkPIN refuses a signature whose PIN is not the signer's own.
func (s *Service) checkPIN(ctx context.Context, firm, person uuid.UUID, name, pin string) error {
	hash, err := s.accounts.pinHash(ctx, firm, person)
	if err != nil {
		return err
	}
	if hash == "" {
		return fault.Bad("pin", "", "no PIN is set for "+name+" yet: set it on the page People, or ask the office")
	}
	return s.matches(ctx, pinKey(firm, person), pin, hash, fault.Bad("pin", "", "it is not the PIN of "+name+": type it again, or ask the office for a new one"))
}

// matches compares a secret with its hash; wrong tries wait.
func (s *Service) matches(ctx context.Context, key, secret, hash string, wrong error) error {
	if wait := s.pins.count(key, s.now()); wait > 0 {
		return tooEarly("too many wrong tries for this person", wait)
	}
	ok, err := false, error(nil)
	if hash != "" && secret != "" {
		ok, err = s.gate.compare(ctx, secret, hash)
	}
	switch {
	case err != nil:
		s.pins.takeBack(key)
		return err
	case !ok:
		return wrong
	}
	s.pins.forget(key)
	return nil
}

func pinKey(firm, person uuid.UUID) string { return firm.String() + " " + person.String() }

// hashSecret hashes a PIN at the cost of a password, as many at once as there
// are places.
func (s *Service) hashSecret(ctx context.Context, secret string) (string, error) {
	select {
	case s.gate.hashing <- struct{}{}:
		defer func() { <-s.gate.hashing }()
	case <-ctx.Done():
		return "", ctx.Err()
	}
	return argon2id.CreateHash(secret, &passwordCost)
}
