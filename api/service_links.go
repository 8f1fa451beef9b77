package api

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
)

// PageAndFeed is a scaffold firm's two private addresses. They are secrets and
// are told once: only their hashes are kept.
type PageAndFeed struct {
	Page string
	Feed string
}

// NewLink makes a scaffold firm's private addresses, in the name of whoever
// asked. The zero time expires makes ones that last until they are taken back.
func (s *Service) NewLink(ctx context.Context, firm, scaffoldFirm uuid.UUID, expires time.Time, by string) (PageAndFeed, error) {
	token, err := drawToken()
	if err != nil {
		return PageAndFeed{}, err
	}
	return s.LinkFor(ctx, firm, scaffoldFirm, token, expires, by)
}

// drawToken draws 256 random bits in letters that stand in an address.
func drawToken() (string, error) {
	var random [32]byte
	if _, err := rand.Read(random[:]); err != nil {
		return "", fmt.Errorf("draw a token: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(random[:]), nil
}

// LinkFor makes the private addresses of a page token that the caller drew and
// keeps: at least 128 random bits.
func (s *Service) LinkFor(ctx context.Context, firm, scaffoldFirm uuid.UUID, token string, expires time.Time, by string) (PageAndFeed, error) {
	for _, l := range []struct {
		purpose schedule.Purpose
		token   string
	}{{schedule.ForPage, token}, {schedule.ForFeed, FeedToken(token)}} {
		err := s.schedule.CreateLink(ctx, firm, schedule.Link{ScaffoldFirm: scaffoldFirm, Purpose: l.purpose, Expires: expires, MadeBy: by}, l.token, s.now())
		if err != nil {
			return PageAndFeed{}, err
		}
	}
	return PageAndFeed{Page: s.pageAddress(token), Feed: s.FeedAddress(FeedToken(token))}, nil
}

func (s *Service) pageAddress(token string) string { return s.baseURL + "/scaffold/" + token }

// FeedAddress is where a feed is served.
func (s *Service) FeedAddress(token string) string { return s.baseURL + "/feeds/" + token + ".ics" }

// mailLink makes the address of a scaffold firm's page that goes out in one try
// of one mail. A second try has another: the first may have arrived, and only
// hashes are kept.
func (s *Service) mailLink(ctx context.Context, firm, scaffoldFirm uuid.UUID, to string) (address string, link schedule.Link, err error) {
	token, err := drawToken()
	if err != nil {
		return "", link, err
	}
	link = schedule.Link{ID: s.ids(), ScaffoldFirm: scaffoldFirm, Purpose: schedule.ForMail, SentTo: to, MadeBy: "the mail", Expires: s.now().Add(schedule.MailLinkLasts)}
	return s.pageAddress(token), link, s.schedule.CreateLink(ctx, firm, link, token, s.now())
}

// OpenedBy is what opens a scaffold firm's page or feed.
type OpenedBy struct {
	Firm  schedule.ScaffoldFirm
	Links []schedule.Link // page and feed, the newest first: what opens, and what ended within shownFor days
	Mails []schedule.Link // in mails, as far as they open, the newest first
}

// PrivateLinks lists what opens the pages and feeds of the firm's scaffold firms,
// by name.
func (s *Service) PrivateLinks(ctx context.Context, firm uuid.UUID) ([]OpenedBy, error) {
	firms, err := s.schedule.ScaffoldFirms(ctx, firm)
	if err != nil {
		return nil, err
	}
	links, err := s.schedule.Links(ctx, firm, uuid.Nil)
	if err != nil {
		return nil, err
	}
	now, all := s.now(), make([]OpenedBy, len(firms))
	at := map[uuid.UUID]*OpenedBy{}
	for i, f := range firms {
		all[i].Firm = f
		at[f.ID] = &all[i]
	}
	for _, l := range links {
		switch of := at[l.ScaffoldFirm]; {
		case of == nil:
		case l.Purpose == schedule.ForMail:
			if l.Opens(now) {
				of.Mails = append(of.Mails, l)
			}
		case l.Opens(now), now.Sub(endOf(l)) < shownFor*24*time.Hour:
			of.Links = append(of.Links, l)
		}
	}
	return all, nil
}

// endOf is when a link ended or ends; the zero time = it does not.
func endOf(l schedule.Link) time.Time {
	if !l.RevokedAt.IsZero() {
		return l.RevokedAt
	}
	return l.Expires
}

// GiveLink makes a scaffold firm's private addresses for the office, to the end
// of a day.
func (s *Service) GiveLink(ctx context.Context, firm, scaffoldFirm uuid.UUID, until civil.Date, by string) (PageAndFeed, error) {
	ends, err := s.linkEnds(ctx, firm, until)
	if err != nil {
		return PageAndFeed{}, err
	}
	return s.NewLink(ctx, firm, scaffoldFirm, ends, by)
}

// KeepLink has a private address end with another day.
func (s *Service) KeepLink(ctx context.Context, firm, link uuid.UUID, until civil.Date) error {
	ends, err := s.linkEnds(ctx, firm, until)
	if err != nil {
		return err
	}
	return s.schedule.ExtendLink(ctx, firm, link, ends, s.now())
}

// linkDays is for how many days from today the office may give an address, and
// usualLinkDays for how many it is asked whether it wants to.
const (
	linkDays      = 730
	usualLinkDays = 365
)

// linkEnds is the end of a day in the firm's zone, as the end of a link.
func (s *Service) linkEnds(ctx context.Context, firm uuid.UUID, until civil.Date) (time.Time, error) {
	_, zone, err := s.firmAndZone(ctx, firm)
	if err != nil {
		return time.Time{}, err
	}
	if today := civil.DateOf(s.now(), zone); !until.Known() || until < today || until > today+linkDays {
		return time.Time{}, fault.Bad("until", until.String(), fmt.Sprintf("a day from today, %s, to %s", today.Long(), (today+linkDays).Long()))
	}
	return (until + 1).At(0, 0, zone), nil
}
