package safety

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"toeboard/migrations/tenant"
	"toeboard/weather/fault"
)

// ------------------------------------------------------------ the firm's hazards

// FirmHazardsSet is one version of a firm's hazards and who set it, why and
// when.
type FirmHazardsSet struct {
	FirmHazards
	Why   string
	SetBy string
	SetAt time.Time // UTC
}

// FirmHazards gives what a firm set beside the service's library; version 0
// when it has set nothing.
func (s *Store) FirmHazards(ctx context.Context, firm uuid.UUID) (FirmHazards, error) {
	all, err := s.FirmHazardsHistory(ctx, firm)
	if err != nil || len(all) == 0 {
		return FirmHazards{}, err
	}
	return all[0].FirmHazards, nil
}

// FirmHazardsHistory gives every version that a firm set, the newest first.
func (s *Store) FirmHazardsHistory(ctx context.Context, firm uuid.UUID) ([]FirmHazardsSet, error) {
	all := []FirmHazardsSet{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT version, body, why, set_by, set_at FROM firm_hazards ORDER BY version DESC`)
		if err != nil {
			return fmt.Errorf("read the firm's hazards: %w", err)
		}
		var v int
		var body []byte
		var one FirmHazardsSet
		_, err = pgx.ForEachRow(rows, []any{&v, &body, &one.Why, &one.SetBy, &one.SetAt}, func() error {
			one.FirmHazards = FirmHazards{}
			if err := json.Unmarshal(body, &one.FirmHazards); err != nil {
				return fmt.Errorf("read version %d of the firm's hazards: %w", v, err)
			}
			one.FirmHazards.Version, one.SetAt = v, one.SetAt.UTC()
			all = append(all, one)
			return nil
		})
		return err
	})
	return all, err
}

// SetFirmHazards stores a firm's hazards as its next version, with the reason.
// base is the version they were written on, 0 for none: when another was set
// meanwhile it is a conflict and nothing is stored.
func (s *Store) SetFirmHazards(ctx context.Context, firm uuid.UUID, f FirmHazards, base int, why, by string, now time.Time) (FirmHazards, error) {
	f.Version = base + 1
	errs := []error{f.Check()}
	if !said(why) {
		errs = append(errs, fault.Bad("why", why, "why they are set, in a sentence"))
	}
	if !said(by) {
		errs = append(errs, fault.Bad("set by", by, "the name of whoever sets them"))
	}
	if err := errors.Join(errs...); err != nil {
		return FirmHazards{}, err
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		var newest int
		if err := tx.QueryRow(ctx, `SELECT coalesce(max(version), 0) FROM firm_hazards`).Scan(&newest); err != nil {
			return fmt.Errorf("find the newest version: %w", err)
		}
		if newest != base {
			return fault.Changed("hazards", "version "+strconv.Itoa(base), fmt.Sprintf("version %d was set meanwhile: look at it and decide again", newest))
		}
		_, err := tx.Exec(ctx, `INSERT INTO firm_hazards (firm_id, version, body, why, set_by, set_at) VALUES ($1, $2, $3, $4, $5, $6)`,
			firm, f.Version, FirmHazardsJSON(f), why, by, stamp(now))
		if err != nil {
			return fmt.Errorf("set the firm's hazards: %w", err)
		}
		return Keep(ctx, tx, firm, "firm_hazards", f.Version)
	})
	return f, err
}

// ------------------------------------------------------------ seen on site

// KeptPhoto is a photo with its bytes.
type KeptPhoto struct {
	ID        uuid.UUID
	SHA256    Hash
	MediaType string // image/jpeg, image/png, image/webp
	Body      []byte
	TakenBy   string
}

// LargestPhoto is how many bytes a photo may have.
const LargestPhoto = 6 << 20

// siteBody is a site hazard as it is stored.
type siteBody struct {
	About    string    `json:"about"`
	Name     string    `json:"name"`
	Who      []string  `json:"who"`
	Stages   []string  `json:"stages"`
	Before   Score     `json:"before"`
	After    Score     `json:"after"`
	Controls []Control `json:"controls"`
	Evidence string    `json:"evidence"`
	Why      string    `json:"why"`
}

// AddSiteHazard records what was seen on site, with its photo if there is one,
// both or neither. The same identity with the same content again is one; with
// other content it is a conflict.
func (s *Store) AddSiteHazard(ctx context.Context, firm uuid.UUID, h SiteHazard, photo *KeptPhoto) (SiteHazard, error) {
	h.ID, h.At = s.orNew(h.ID), stamp(h.At)
	if err := h.Check(); err != nil {
		return SiteHazard{}, err
	}
	if !said(h.By) {
		return SiteHazard{}, fault.Bad("recorded by", h.By, "the name of whoever records it")
	}
	if photo != nil && len(photo.Body) > LargestPhoto {
		return SiteHazard{}, fault.Bad("file", strconv.Itoa(len(photo.Body))+" bytes", "a photo of at most 6 MB")
	}
	err := s.write(ctx, firm, func(tx pgx.Tx) error {
		was, err := readSite(ctx, tx, `h.site_hazard_id = $1`, h.ID)
		if err != nil {
			return err
		}
		if len(was) == 1 {
			again := h
			again.No, again.Photo, again.At = was[0].No, was[0].Photo, was[0].At
			if photo != nil {
				again.PhotoSum = photo.SHA256
			}
			if hashOf(again) != hashOf(was[0]) {
				return &fault.Error{Kind: fault.Conflict, Field: "site hazard", Value: h.ID.String(), Want: "your first try was recorded and says something else: look at it, then record this as a new one"}
			}
			h = was[0]
			return waitForStandby(ctx, tx)
		}
		return s.insertSite(ctx, tx, firm, &h, photo)
	})
	return h, err
}

func (s *Store) insertSite(ctx context.Context, tx pgx.Tx, firm uuid.UUID, h *SiteHazard, photo *KeptPhoto) error {
	var photoID *uuid.UUID
	var sum []byte
	if photo != nil {
		h.Photo, h.PhotoSum = s.orNew(photo.ID), photo.SHA256
		photoID, sum = &h.Photo, photo.SHA256[:]
		_, err := tx.Exec(ctx, `INSERT INTO photo (firm_id, photo_id, job_id, sha256, media_type, body, taken_by, kept_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			firm, h.Photo, h.Job, sum, photo.MediaType, photo.Body, h.By, h.At)
		if err != nil {
			return fmt.Errorf("keep a photo: %w", err)
		}
	}
	body, err := canonical(siteBody{h.About, h.Name, orEmpty(h.Who), orEmpty(h.Stages), h.Before, h.After, h.Controls, h.Evidence, h.Why})
	if err != nil {
		return err
	}
	err = tx.QueryRow(ctx, `
		INSERT INTO site_hazard (firm_id, site_hazard_id, job_id, no, body, photo_id, photo_sum, recorded_by, recorded_at)
		VALUES ($1, $2, $3, (SELECT coalesce(max(no), 0) + 1 FROM site_hazard WHERE job_id = $3), $4, $5, $6, $7, $8) RETURNING no`,
		firm, h.ID, h.Job, body, photoID, sum, h.By, h.At).Scan(&h.No)
	if err != nil {
		return fmt.Errorf("record a site hazard: %w", err)
	}
	return Keep(ctx, tx, firm, "site_hazard", h.ID)
}

// RemoveSiteHazard takes away what was seen on site, with the reason. The row
// and its photo stay.
func (s *Store) RemoveSiteHazard(ctx context.Context, firm, job, id uuid.UUID, why, by string, now time.Time) error {
	if !said(why) {
		return fault.Bad("why", why, "why it is no hazard any more, in a sentence")
	}
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			INSERT INTO site_hazard_removal (firm_id, site_hazard_id, why, removed_by, removed_at)
			SELECT firm_id, site_hazard_id, $3, $4, $5 FROM site_hazard WHERE job_id = $1 AND site_hazard_id = $2`, job, id, why, by, stamp(now))
		if err != nil {
			return fmt.Errorf("take a site hazard away: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return fault.Missing("site hazard", id.String())
		}
		return Keep(ctx, tx, firm, "site_hazard_removal", id)
	})
}

// SiteHazards lists what was seen at a job and holds, in the order of recording.
func (s *Store) SiteHazards(ctx context.Context, firm, job uuid.UUID) ([]SiteHazard, error) {
	var all []SiteHazard
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) (err error) {
		all, err = siteOf(ctx, tx, job)
		return err
	})
	return all, err
}

func siteOf(ctx context.Context, tx pgx.Tx, job uuid.UUID) ([]SiteHazard, error) {
	return readSite(ctx, tx, `h.job_id = $1 AND NOT EXISTS (SELECT FROM site_hazard_removal r WHERE (r.firm_id, r.site_hazard_id) = (h.firm_id, h.site_hazard_id))`, job)
}

func readSite(ctx context.Context, tx pgx.Tx, where string, arg uuid.UUID) ([]SiteHazard, error) {
	rows, err := tx.Query(ctx, `
		SELECT h.site_hazard_id, h.job_id, h.no, h.body, h.photo_id, h.photo_sum, h.recorded_by, h.recorded_at
		  FROM site_hazard h WHERE `+where+` ORDER BY h.no`, arg)
	if err != nil {
		return nil, fmt.Errorf("read what was seen on site: %w", err)
	}
	all := []SiteHazard{}
	var h SiteHazard
	var body, sum []byte
	var photo *uuid.UUID
	_, err = pgx.ForEachRow(rows, []any{&h.ID, &h.Job, &h.No, &body, &photo, &sum, &h.By, &h.At}, func() error {
		var b siteBody
		if err := json.Unmarshal(body, &b); err != nil {
			return fmt.Errorf("read site hazard %s: %w", h.ID, err)
		}
		one := h
		one.About, one.Name, one.Who, one.Stages, one.Before, one.After = b.About, b.Name, b.Who, b.Stages, b.Before, b.After
		one.Controls, one.Evidence, one.Why, one.At = b.Controls, b.Evidence, b.Why, h.At.UTC()
		if photo != nil {
			one.Photo, one.PhotoSum = *photo, Hash(sum)
		}
		all = append(all, one)
		return nil
	})
	return all, err
}

// Photo gives a kept photo.
func (s *Store) Photo(ctx context.Context, firm, id uuid.UUID) (KeptPhoto, error) {
	p := KeptPhoto{ID: id}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		var sum []byte
		err := tx.QueryRow(ctx, `SELECT sha256, media_type, body, taken_by FROM photo WHERE photo_id = $1`, id).Scan(&sum, &p.MediaType, &p.Body, &p.TakenBy)
		if errors.Is(err, pgx.ErrNoRows) {
			return fault.Missing("photo", id.String())
		}
		if err != nil {
			return fmt.Errorf("read a photo: %w", err)
		}
		p.SHA256 = Hash(sum)
		return nil
	})
	return p, err
}

// ------------------------------------------------------------ answers and versions

// SurveyAnswer is what somebody answered about a job's site.
type SurveyAnswer struct {
	Answers map[string]any // by the fact's key; nil = not known any more
	By      string
	At      time.Time // UTC
}

// AddAnswers records who answered what about a job's site. The facts themselves
// are the schedule's to keep.
func (s *Store) AddAnswers(ctx context.Context, firm, job, id uuid.UUID, a SurveyAnswer) error {
	body, err := canonical(a.Answers)
	if err != nil {
		return err
	}
	id = s.orNew(id)
	return s.write(ctx, firm, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `INSERT INTO survey_answer (firm_id, answer_id, job_id, answers, given_by, given_at) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (firm_id, answer_id) DO NOTHING`, firm, id, job, body, a.By, stamp(a.At))
		if err != nil {
			return fmt.Errorf("record answers: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return nil
		}
		return Keep(ctx, tx, firm, "survey_answer", id)
	})
}

// AnswersOf lists what was answered about a job's site, the newest first.
func (s *Store) AnswersOf(ctx context.Context, firm, job uuid.UUID) ([]SurveyAnswer, error) {
	all := []SurveyAnswer{}
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT answers, given_by, given_at FROM survey_answer WHERE job_id = $1 ORDER BY given_at DESC, answer_id DESC`, job)
		if err != nil {
			return fmt.Errorf("read answers: %w", err)
		}
		var body []byte
		var a SurveyAnswer
		_, err = pgx.ForEachRow(rows, []any{&body, &a.By, &a.At}, func() error {
			a.Answers, a.At = nil, a.At.UTC()
			if err := json.Unmarshal(body, &a.Answers); err != nil {
				return fmt.Errorf("read answers: %w", err)
			}
			all = append(all, a)
			return nil
		})
		return err
	})
	return all, err
}

// AssessmentVersions lists every version of a job's assessment, the newest
// first. FactsNow is not filled.
func (s *Store) AssessmentVersions(ctx context.Context, firm, job uuid.UUID) ([]AssessmentInForce, error) {
	var all []AssessmentInForce
	err := tenant.Snapshot(ctx, s.pool, firm, func(tx pgx.Tx) error {
		all = nil
		rows, err := tx.Query(ctx, `SELECT assessment_id FROM risk_assessment WHERE job_id = $1 ORDER BY version DESC`, job)
		if err != nil {
			return fmt.Errorf("read the versions: %w", err)
		}
		ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
		if err != nil {
			return fmt.Errorf("read the versions: %w", err)
		}
		for _, id := range ids {
			a, err := readAssessment(ctx, tx, `assessment_id = $1`, id)
			if err != nil {
				return err
			}
			all = append(all, *a)
		}
		return nil
	})
	return all, err
}
