package api

import (
	"context"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// SignOffInput is one person's signature.
type SignOffInput struct {
	Crew       uuid.UUID
	JobRef     string
	Day        civil.Date
	Person     uuid.UUID // who signs
	Assessment uuid.UUID // the version that was shown
	BodyHash   safety.Hash
	TypedName  string       // "" = the person's own name, as it stands in the books
	PIN        string       // the signer's own
	Drawing    string       // the strokes of the drawn signature; "" = not drawn
	Shown      safety.Basis // what was so when the text was shown, as the page had it
	DeviceAt   time.Time    // UTC, a claim; zero = none
}

// oldestSignature is how many days a signature may lie on a phone before it
// reaches the service.
const oldestSignature = 30

// SignOff records a signature: one's own, or on the lead's phone that of
// somebody else in the crew. A signature to a version that is no longer in
// force is kept, and the decision says that it does not count.
func (s *Service) SignOff(ctx context.Context, by Caller, id uuid.UUID, in SignOffInput) (Judged, error) {
	m, k, err := s.atWork(ctx, by, in.Crew, in.JobRef, in.Day)
	if err != nil {
		return Judged{}, err
	}
	if err := maySign(by, k, in); err != nil {
		return Judged{}, err
	}
	now := s.now()
	if today := civil.DateOf(now, by.Location); in.Day > today || in.Day < today-oldestSignature {
		return Judged{}, fault.Bad("day", in.Day.String(), "today, or a day up to 30 days ago for a signature that waited on a phone")
	}
	if err := ownName(m.Snapshot, &in); err != nil {
		return Judged{}, err
	}
	if err := safety.CheckDrawing(in.Drawing); err != nil {
		return Judged{}, err
	}
	if in.Shown == (safety.Basis{}) {
		return Judged{}, fault.Bad("shown", "", "what was so when the text was shown, as the page or the decision had it: look at it again and sign then")
	}
	statement, err := s.statement(ctx, by.Firm, m.Snapshot, in)
	if err != nil {
		return Judged{}, err
	}
	if err := s.checkPIN(ctx, by.Firm, in.Person, in.TypedName, in.PIN); err != nil {
		return Judged{}, err
	}
	if _, err := s.safety.AddSignOff(ctx, by.Firm, safety.SignOff{ID: id, Crew: in.Crew, Job: m.Job.ID, Day: in.Day, Person: in.Person,
		Assessment: in.Assessment, BodyHash: in.BodyHash, Statement: statement, TypedName: in.TypedName, Proof: safety.ByPIN, Drawing: in.Drawing,
		OnPhoneOf: by.Person, GivenFor: in.Shown, DeviceAt: in.DeviceAt, ReceivedAt: now}); err != nil {
		return Judged{}, err
	}
	return s.Decide(ctx, by.Firm, in.Crew, in.JobRef, in.Day)
}

// maySign lets people sign for themselves and the lead hand the phone round.
func maySign(by Caller, k schedule.Crew, in SignOffInput) error {
	if in.Person != by.Person {
		if err := by.need(SignForCrew); err != nil {
			return err
		}
		if _, leads := inCrew(k, by.Person, in.Day); !leads {
			return &fault.Error{Kind: fault.Forbidden, Field: "signature", Want: "only the lead of crew " + k.Name + " lets others sign on their phone"}
		}
	}
	if in, _ := inCrew(k, in.Person, in.Day); !in {
		return &fault.Error{Kind: fault.Forbidden, Field: "person", Want: "this person is not in crew " + k.Name + " that day"}
	}
	return nil
}

// ownName refuses a signature in another name than the person's own, and fills
// in the name where none was typed. Capitals, accents and spaces do not matter.
func ownName(snap safety.Snapshot, in *SignOffInput) error {
	for _, p := range snap.People {
		if p.ID != in.Person {
			continue
		}
		if in.TypedName == "" {
			in.TypedName = p.Name
		}
		if !safety.OwnName(in.TypedName, p.Name) {
			return fault.Bad("typed_name", in.TypedName, "the name of the person who signs, "+p.Name)
		}
	}
	return nil
}

// statement is the text that was shown for the version that was signed.
func (s *Service) statement(ctx context.Context, firm uuid.UUID, snap safety.Snapshot, in SignOffInput) (string, error) {
	if snap.Assessment == nil || snap.Assessment.ID != in.Assessment {
		older, err := s.safety.AssessmentVersion(ctx, firm, in.Assessment)
		if err != nil {
			return "", err
		}
		snap.Assessment = &older
	}
	if snap.Assessment.BodyHash != in.BodyHash {
		return "", fault.Bad("body_hash", in.BodyHash.String(), "the hash of the version that is named, "+snap.Assessment.BodyHash.String())
	}
	for _, p := range snap.People {
		if p.ID == in.Person {
			return safety.Statement(snap, p), nil
		}
	}
	return "", fault.Missing("person", in.Person.String())
}
