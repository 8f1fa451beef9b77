package api

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
)

// PrivateLink is a scaffold firm's two private addresses. They are secrets and
// are told once: only their hashes are kept.
type PrivateLink struct {
	Page string
	Feed string
}

// NewLink makes a scaffold firm's private addresses. The zero time expires
// makes ones that last until they are taken back.
func (s *Service) NewLink(ctx context.Context, firm, scaffoldFirm uuid.UUID, expires time.Time) (PrivateLink, error) {
	var random [32]byte
	if _, err := rand.Read(random[:]); err != nil {
		return PrivateLink{}, err
	}
	token := base64.RawURLEncoding.EncodeToString(random[:])
	return s.LinkFor(ctx, firm, scaffoldFirm, token, expires)
}

// LinkFor makes the private addresses of a page token that the caller drew and
// keeps: at least 128 random bits.
func (s *Service) LinkFor(ctx context.Context, firm, scaffoldFirm uuid.UUID, token string, expires time.Time) (PrivateLink, error) {
	for _, l := range []struct {
		purpose schedule.Purpose
		token   string
	}{{schedule.ForPage, token}, {schedule.ForFeed, FeedToken(token)}} {
		if err := s.schedule.CreateLink(ctx, firm, scaffoldFirm, l.purpose, l.token, s.now(), expires); err != nil {
			return PrivateLink{}, err
		}
	}
	return PrivateLink{Page: s.baseURL + "/scaffold/" + token, Feed: s.FeedAddress(FeedToken(token))}, nil
}

// FeedAddress is where a feed is served.
func (s *Service) FeedAddress(token string) string { return s.baseURL + "/feeds/" + token + ".ics" }
