package api

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
)

// feed serves a scaffold firm's bookings as a calendar. Its bytes change only
// when a booking does, so that a client that polls gets 304.
func (s *server) feed(c *gin.Context) {
	token, ok := strings.CutSuffix(c.Param("file"), ".ics")
	if !ok {
		s.fail(c, &refusal{kind: notFound, detail: "there is nothing at this address"})
		return
	}
	f, err := s.feedBytes(c, token)
	if err != nil {
		s.fail(c, err)
		return
	}
	c.Header("ETag", f.tag)
	c.Header("Cache-Control", "private, max-age=0, must-revalidate")
	if !f.changed.IsZero() {
		c.Header("Last-Modified", f.changed.UTC().Format(http.TimeFormat))
	}
	if notModified(c.Request.Header, f.tag, f.changed) {
		c.Status(http.StatusNotModified)
		return
	}
	c.Header("Content-Length", strconv.Itoa(len(f.body)))
	c.Header("Content-Disposition", `inline; filename="scaffold.ics"`)
	c.Data(http.StatusOK, "text/calendar; charset=utf-8", f.body)
}

// madeFeed is a feed's bytes with what they were made of.
type madeFeed struct {
	of      string // mark of the facts, and the day from which on what is over is still shown
	tag     string
	body    []byte
	changed time.Time
}

// madeFeeds keeps the newest bytes of each feed in this process. The facts' mark
// is asked of the database each time: another instance's change counts at once.
type madeFeeds struct {
	mu   sync.Mutex
	kept map[uuid.UUID]madeFeed // by link
}

// feedsKept is how many feeds are kept; beyond that all are forgotten.
const feedsKept = 500

func (m *madeFeeds) get(link uuid.UUID, of string) (madeFeed, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	f, ok := m.kept[link]
	return f, ok && f.of == of
}

func (m *madeFeeds) put(link uuid.UUID, f madeFeed) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.kept == nil || len(m.kept) >= feedsKept {
		m.kept = map[uuid.UUID]madeFeed{}
	}
	m.kept[link] = f
}

// feedBytes gives a feed as it is now.
func (s *server) feedBytes(c *gin.Context, token string) (madeFeed, error) {
	link, mark, err := s.schedule.FeedLink(c.Request.Context(), token, s.now())
	if err != nil {
		return madeFeed{}, err
	}
	loc, err := time.LoadLocation(mark.Zone)
	if err != nil {
		return madeFeed{}, fmt.Errorf("read the firm's zone: %w", err)
	}
	if err := s.schedule.LinkUsed(c.Request.Context(), link, s.now()); err != nil {
		return madeFeed{}, err
	}
	since := civil.DateOf(s.now(), loc) - shownFor
	of := mark.Mark + " " + since.String()
	if f, ok := s.feeds.get(link.ID, of); ok {
		return f, nil
	}
	v, err := s.visitorOf(c, token, schedule.ForFeed)
	if err != nil {
		return madeFeed{}, err
	}
	f := madeFeed{of: of}
	if f.body, f.changed, err = s.feedOf(c, v, since); err != nil {
		return madeFeed{}, err
	}
	sum := sha256.Sum256(f.body)
	f.tag = `"` + hex.EncodeToString(sum[:16]) + `"`
	// Read after the mark: what changed in between has another mark the next time,
	// and is only made twice.
	s.feeds.put(link.ID, f)
	return f, nil
}

func (s *server) feedOf(c *gin.Context, v visitor, since civil.Date) (body []byte, changed time.Time, err error) {
	ctx := c.Request.Context()
	bookings, err := s.schedule.BookingsOf(ctx, v.firm.ID, v.scaffold.ID)
	if err != nil {
		return nil, changed, err
	}
	jobs, err := s.schedule.Jobs(ctx, v.firm.ID)
	if err != nil {
		return nil, changed, err
	}
	office, err := s.schedule.OfficeContact(ctx, v.firm.ID)
	if err != nil {
		return nil, changed, err
	}
	office.Name = cmp.Or(office.Name, v.firm.Name)
	f := schedule.FeedOf("Scaffold for "+v.firm.Name, bookings, jobs, office, since, v.loc)
	body, err = f.Bytes()
	return body, f.LastModified(), err
}
