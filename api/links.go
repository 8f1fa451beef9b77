package api

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// A scaffold firm has no account. It has two private addresses, a page and a
// feed, and each mail to it carries one more to the page, which ends after 30
// days; whoever has the address is the scaffold firm. Mail programs open links
// to look at them, so opening one changes nothing: answers are given by button.

func (s *server) linkRoutes(e *gin.Engine) {
	g := e.Group("", s.within(30*time.Second), s.limitBody, s.private)
	g.GET("/scaffold/:token", s.linkPage(s.scaffoldPage))
	g.POST("/scaffold/:token/bookings/:booking/confirm", s.linkPage(s.scaffoldConfirm))
	g.POST("/scaffold/:token/bookings/:booking/offer", s.linkPage(s.scaffoldOffer))
	g.POST("/scaffold/:token/bookings/:booking/erected", s.linkPage(s.scaffoldErected))
	g.POST("/scaffold/:token/bookings/:booking/struck", s.linkPage(s.scaffoldStruck))
	g.POST("/scaffold/:token/bookings/:booking/refuse", s.linkPage(s.scaffoldRefuse))
	g.POST("/scaffold/:token/bookings/:booking/certificate", s.linkPage(s.scaffoldCertificate))
	g.GET("/scaffold/:token/bookings.csv", s.linkPage(s.scaffoldFile))
	g.GET("/feeds/:file", s.feed)
	g.GET("/feeds/crew/:file", s.crewFeed)
}

// private is for addresses that are secrets: not told to other sites, not
// indexed, not kept, and not to be guessed at speed.
func (s *server) private(c *gin.Context) {
	c.Header("Referrer-Policy", "no-referrer")
	c.Header("X-Robots-Tag", "noindex, nofollow")
	c.Header("Cache-Control", "private, no-store")
	if wait := s.links.count(placeOf(c.Request.Context()), s.now()); wait > 0 {
		s.fail(c, &refusal{kind: tooMany, retryAfter: wait, detail: "this address is asked for too often: wait a minute"})
	}
}

// visitor is a scaffold firm that came by its private address.
type visitor struct {
	token    string
	link     schedule.Link
	firm     schedule.Firm
	loc      *time.Location
	scaffold schedule.ScaffoldFirm
}

// visitorOf finds out whose address it is, and notes that it was used. An address
// that was taken back or has run out, and one in a mail to where the scaffold firm
// no longer is, are as unknown as one that never was.
func (s *server) visitorOf(c *gin.Context, token string, purpose schedule.Purpose) (visitor, error) {
	ctx := c.Request.Context()
	v := visitor{token: token}
	var err error
	if v.link, err = s.schedule.LinkByToken(ctx, token, s.now()); err != nil {
		return v, err
	}
	if !opens(v.link.Purpose, purpose) {
		return v, fault.Missing("address", "")
	}
	if v.firm, err = s.schedule.Firm(ctx, v.link.Firm); err != nil {
		return v, err
	}
	if v.loc, err = v.firm.Location(); err != nil {
		return v, fmt.Errorf("read the firm's zone: %w", err)
	}
	firms, err := s.schedule.ScaffoldFirms(ctx, v.link.Firm)
	if err != nil {
		return v, err
	}
	for _, f := range firms {
		if f.ID == v.link.ScaffoldFirm && (v.link.SentTo == "" || strings.EqualFold(v.link.SentTo, f.Email)) {
			v.scaffold = f
			return v, s.schedule.LinkUsed(ctx, v.link, s.now())
		}
	}
	return v, fault.Missing("address", "")
}

// opens tells whether a link of one purpose opens a page or a feed. A mail's link
// opens the page.
func opens(is, wanted schedule.Purpose) bool {
	return is == wanted || is == schedule.ForMail && wanted == schedule.ForPage
}

// name is who a step is recorded by: the scaffold firm, and by which mail's link,
// since mails are passed on.
func (v visitor) name() string {
	if v.link.Purpose != schedule.ForMail {
		return v.scaffold.Name
	}
	return v.scaffold.Name + " (by the link in the mail of " + civil.DateOf(v.link.CreatedAt, v.loc).Short() + " to " + v.link.SentTo + ")"
}

func (s *server) linkPage(handle func(*gin.Context, visitor) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		v, err := s.visitorOf(c, c.Param("token"), schedule.ForPage)
		if err == nil {
			err = handle(c, v)
		}
		if err != nil {
			s.fail(c, err)
		}
	}
}

// scaffoldPage shows a scaffold firm what is wanted of it.
func (s *server) scaffoldPage(c *gin.Context, v visitor) error {
	return s.showScaffold(c, v, http.StatusOK, uuid.Nil, nil)
}

// showScaffold shows the page, after a form with what was wrong in it beside
// the booking it was about.
func (s *server) showScaffold(c *gin.Context, v visitor, status int, about uuid.UUID, wrong []web.Fault) error {
	ctx := c.Request.Context()
	bookings, err := s.schedule.BookingsOf(ctx, v.firm.ID, v.scaffold.ID)
	if err != nil {
		return err
	}
	jobs, err := s.schedule.Jobs(ctx, v.firm.ID)
	if err != nil {
		return err
	}
	d := newDirectory(jobs, nil, nil)
	office, err := s.schedule.OfficeContact(ctx, v.firm.ID)
	if err != nil {
		return err
	}
	page := web.ScaffoldPage{
		Sheet:        web.Sheet{Notice: notices[c.Query("done")], Key: s.ids().String(), AsOf: s.now().In(v.loc), Faults: wrong},
		ScaffoldFirm: v.scaffold.Name, Installer: v.firm.Name, Phone: office.Phone,
		Contact: schedule.Contact{Name: cmp.Or(office.Name, v.firm.Name), Email: office.Email}.String(),
		CSVHref: "/scaffold/" + v.token + "/bookings.csv", Until: webDay(lastDay(v.link, v.loc)),
	}
	if there, err := s.hasFeed(c, v); err != nil {
		return err
	} else if there {
		page.FeedAddress = s.FeedAddress(FeedToken(v.token))
	}
	slices.SortFunc(bookings, byErection)
	today := civil.DateOf(s.now(), v.loc)
	files, err := s.schedule.HandoverFiles(ctx, v.firm.ID)
	if err != nil {
		return err
	}
	for _, b := range bookings {
		if gone(b, today) {
			continue
		}
		w, err := s.wanted(c, v, b, d.jobs[b.Job])
		if err != nil {
			return err
		}
		w.MarkOn, w.OfferFrom, w.OfferTo = webDay(today), webDay(today), webDay(b.LastOffer(today))
		if b.ID == about {
			w.OfferOn, w.MarkOn = web.Day(c.PostForm("on")), web.Day(c.PostForm("on"))
		}
		for _, f := range files {
			if f.Booking == b.ID {
				w.Certificates = append(w.Certificates, f.Name)
			}
		}
		page.Bookings = append(page.Bookings, w)
	}
	return s.show(c, status, page)
}

// hasFeed tells whether the feed that belongs to a page's address is open. Asking
// is no use of the feed.
func (s *server) hasFeed(c *gin.Context, v visitor) (bool, error) {
	l, err := s.schedule.LinkByToken(c.Request.Context(), FeedToken(v.token), s.now())
	if fault.KindOf(err) == fault.NotFound {
		return false, nil
	}
	return err == nil && l.Purpose == schedule.ForFeed && v.link.Purpose == schedule.ForPage, err
}

func byErection(a, b schedule.Booking) int {
	if a.ErectOn != b.ErectOn {
		return int(a.ErectOn - b.ErectOn)
	}
	return strings.Compare(a.UID, b.UID)
}

// shownFor is how long a booking that is over is still shown.
const shownFor = 30

func gone(b schedule.Booking, today civil.Date) bool {
	over := b.State == schedule.BookingStruck || b.State == schedule.BookingCancelled
	return over && b.StrikeOn < today-shownFor
}

// wanted is one booking as the scaffold firm needs to know it.
func (s *server) wanted(c *gin.Context, v visitor, b schedule.Booking, j schedule.Job) (web.Wanted, error) {
	w := web.Wanted{
		ID: b.ID.String(), Ref: j.Ref, Address: j.Site.Address, Postcode: j.Site.Postcode, Erect: webDay(b.ErectOn), Strike: webDay(b.StrikeOn),
		State: wantedState(b.State), HeightM: j.Site.WorkingHeightM, Offered: webDay(b.OfferedOn), ChangedAt: localTime(b.ChangedAt, v.loc),
	}
	history, err := s.schedule.BookingHistory(c.Request.Context(), v.firm.ID, b.ID)
	if err != nil {
		return w, err
	}
	if last, ok := lastForThem(history); ok {
		w.Changed = last.Why
	}
	w.StateWords = stateToScaffold(b, v.loc)
	w.Lifts, w.LoadClass, w.LoadKNM2 = liftsOf(j.Site)
	w.Access = strings.Join(schedule.OfSite(j.Site), "; ")
	seen := "?seen=" + strconv.Itoa(b.Sequence)
	here := "/scaffold/" + v.token + "/bookings/" + b.ID.String()
	if b.State.Stands() {
		w.StruckAction, w.CertificateAction = here+"/struck", here+"/certificate"
	} else if b.Live() && (b.State == schedule.BookingConfirmed || b.ErectOn <= civil.DateOf(s.now(), v.loc)) {
		w.ErectedAction = here + "/erected"
	}
	switch w.State {
	case web.WantedAnswer:
		w.ConfirmAction, w.OfferAction, w.RefuseAction = here+"/confirm"+seen, here+"/offer"+seen, here+"/refuse"+seen
	case web.WantedConfirmed, web.WantedOffered, web.WantedRefused:
		w.OfferAction = here + "/offer" + seen
	}
	return w, nil
}

// lastForThem is the newest step that tells a scaffold firm something. That our
// invitation left is the office's matter: nothing of theirs changed by it.
func lastForThem(history []schedule.BookingVersion) (last schedule.BookingVersion, ok bool) {
	for _, v := range slices.Backward(history) {
		if v.State != schedule.BookingSent || v.How != schedule.ByMail {
			return v, true
		}
	}
	return last, false
}

func wantedState(st schedule.BookingState) web.WantedState {
	switch st {
	case schedule.BookingWanted, schedule.BookingSent:
		return web.WantedAnswer
	case schedule.BookingConfirmed:
		return web.WantedConfirmed
	case schedule.BookingCountered:
		return web.WantedOffered
	case schedule.BookingRefused:
		return web.WantedRefused
	case schedule.BookingErected, schedule.BookingInspected:
		return web.WantedStanding
	case schedule.BookingOffHire:
		return web.WantedDown
	case schedule.BookingStruck:
		return web.WantedStruck
	case schedule.BookingCancelled:
		return web.WantedCancelled
	default:
		return web.WantedUnknown
	}
}

// stateToScaffold goes on after the words of the state.
func stateToScaffold(b schedule.Booking, loc *time.Location) string {
	on := civil.DateOf(b.ChangedAt, loc).Short()
	switch wantedState(b.State) {
	case web.WantedAnswer:
		return "since " + on
	case web.WantedConfirmed, web.WantedCancelled:
		return "on " + on
	case web.WantedStanding:
		return "since " + b.ErectOn.Short()
	case web.WantedDown:
		return b.StrikeOn.Short()
	case web.WantedRefused:
		return "; the office will ask for another"
	case web.WantedStruck:
		return "on " + b.StrikeOn.Short()
	default:
		return ""
	}
}

// scaffoldConfirm records that the scaffold firm agrees to the days it saw.
func (s *server) scaffoldConfirm(c *gin.Context, v visitor) error {
	return s.scaffoldAnswer(c, v, schedule.Answer{Confirm: true, How: schedule.ByPage}, "confirmed")
}

// scaffoldOffer records another day that the scaffold firm offers.
func (s *server) scaffoldOffer(c *gin.Context, v visitor) error {
	on, err := civil.Parse(c.PostForm("on"))
	if err != nil {
		on = civil.NoDate
	}
	return s.scaffoldAnswer(c, v, schedule.Answer{OfferedOn: on, How: schedule.ByPage}, "offered")
}

// scaffoldRefuse records that the day cannot be done and no other is offered.
func (s *server) scaffoldRefuse(c *gin.Context, v visitor) error {
	return s.scaffoldAnswer(c, v, schedule.Answer{Refuse: true, How: schedule.ByPage}, "refused-day")
}

// scaffoldCertificate takes a handover certificate. What it is is told by its
// content and not by its name or what the browser says.
func (s *server) scaffoldCertificate(c *gin.Context, v visitor) error {
	id, err := uuid.Parse(c.Param("booking"))
	if err != nil {
		return badID("booking", c.Param("booking"))
	}
	if err := s.theirs(c, v, id); err != nil {
		return err
	}
	name, body, err := uploaded(c)
	if err == nil {
		err = s.schedule.AddHandoverFile(c.Request.Context(), v.firm.ID, id, name, http.DetectContentType(body), body, v.name(), s.now())
	}
	if faults := pageFaults(err); faults != nil {
		for i := range faults {
			faults[i].Field = "file-" + id.String()
		}
		return s.showScaffold(c, v, refusalOf(err).kind.status, id, faults)
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/scaffold/"+v.token+"?done=certificate")
	return nil
}

// uploaded reads the file of a form whole.
func uploaded(c *gin.Context) (name string, body []byte, err error) {
	f, err := c.FormFile("file")
	if err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return "", nil, fault.Bad("certificate", fmt.Sprintf("over %d bytes", tooLarge.Limit), "a file of at most 5 MiB")
		}
		return "", nil, fault.Bad("certificate", "", "choose a file: a PDF, or a photograph as JPEG or PNG")
	}
	in, err := f.Open()
	if err != nil {
		return "", nil, fmt.Errorf("read an uploaded file: %w", err)
	}
	defer in.Close()
	body, err = io.ReadAll(io.LimitReader(in, schedule.MaxHandoverFile+1))
	if err != nil {
		return "", nil, fmt.Errorf("read an uploaded file: %w", err)
	}
	return f.Filename, body, nil
}

// scaffoldFile is the scaffold firm's list as CSV.
func (s *server) scaffoldFile(c *gin.Context, v visitor) error {
	ctx := c.Request.Context()
	bookings, err := s.schedule.BookingsOf(ctx, v.firm.ID, v.scaffold.ID)
	if err != nil {
		return err
	}
	jobs, err := s.schedule.Jobs(ctx, v.firm.ID)
	if err != nil {
		return err
	}
	today := civil.DateOf(s.now(), v.loc)
	bookings = slices.DeleteFunc(bookings, func(b schedule.Booking) bool { return gone(b, today) })
	slices.SortFunc(bookings, byErection)
	c.Header("Content-Disposition", `attachment; filename="scaffold.csv"`)
	c.Data(http.StatusOK, "text/csv; charset=utf-8", []byte(bookingsCSV(newDirectory(jobs, nil, nil), bookings, false)))
	return nil
}

// scaffoldAnswer records an answer to the booking as it was seen. Giving the
// same answer twice changes nothing, so a form sent twice needs no key to be
// safe.
func (s *server) scaffoldAnswer(c *gin.Context, v visitor, a schedule.Answer, done string) error {
	id, err := uuid.Parse(c.Param("booking"))
	if err != nil {
		return badID("booking", c.Param("booking"))
	}
	seen, err := strconv.Atoi(c.Query("seen"))
	if err != nil {
		return &refusal{kind: malformed, detail: "the form does not say which version was seen: open the page again"}
	}
	if err := s.theirs(c, v, id); err != nil {
		return err
	}
	_, err = s.AnswerBooking(c.Request.Context(), v.firm.ID, id, seen, a, v.name())
	switch fault.KindOf(err) {
	case fault.Invalid, fault.Conflict:
		if faults := pageFaults(err); faults != nil {
			for i := range faults {
				faults[i].Field = "on-" + id.String()
			}
			return s.showScaffold(c, v, refusalOf(err).kind.status, id, faults)
		}
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/scaffold/"+v.token+"?done="+done)
	return nil
}

// scaffoldErected records that the scaffold is up.
func (s *server) scaffoldErected(c *gin.Context, v visitor) error {
	return s.scaffoldMarked(c, v, "up-", "erected", s.schedule.MarkErected)
}

// scaffoldStruck records that the scaffold is down.
func (s *server) scaffoldStruck(c *gin.Context, v visitor) error {
	return s.scaffoldMarked(c, v, "down-", "struck", s.schedule.MarkStruck)
}

// scaffoldMarked records what was done on a day. That is a fact whatever the
// booked days are by now, so no version needs to have been seen; saying the same
// twice changes nothing. input begins the name of the day's input on the page.
func (s *server) scaffoldMarked(c *gin.Context, v visitor, input, done string,
	mark func(ctx context.Context, firm, id uuid.UUID, on civil.Date, by string, how schedule.How, now time.Time) (schedule.Booking, error)) error {
	id, err := uuid.Parse(c.Param("booking"))
	if err != nil {
		return badID("booking", c.Param("booking"))
	}
	if err := s.theirs(c, v, id); err != nil {
		return err
	}
	on, err := typedDay(c, "on")
	if err == nil {
		_, err = mark(c.Request.Context(), v.firm.ID, id, on, v.name(), schedule.ByPage, s.now())
	}
	if faults := pageFaults(err); faults != nil {
		if fault.KindOf(err) == fault.Invalid { // a conflict is of no input: the step may no longer be offered
			for i := range faults {
				faults[i].Field = input + id.String()
			}
		}
		return s.showScaffold(c, v, refusalOf(err).kind.status, id, faults)
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/scaffold/"+v.token+"?done="+done)
	return nil
}

// theirs refuses a booking of another scaffold firm as if it did not exist.
func (s *server) theirs(c *gin.Context, v visitor, booking uuid.UUID) error {
	b, err := s.schedule.Booking(c.Request.Context(), v.firm.ID, booking)
	if err != nil {
		return err
	}
	if b.ScaffoldFirm != v.scaffold.ID {
		return fault.Missing("booking", booking.String())
	}
	return nil
}

// notModified tells whether a client has the newest bytes (RFC 9110 13.2.2): by
// tag when it names one, else by the date that we gave it. Only dates of ours
// are compared, never a clock.
func notModified(h http.Header, tag string, changed time.Time) bool {
	if len(h.Values("If-None-Match")) > 0 {
		return matches(strings.Join(h.Values("If-None-Match"), ","), tag)
	}
	since, err := http.ParseTime(h.Get("If-Modified-Since"))
	return err == nil && !changed.IsZero() && !changed.Truncate(time.Second).After(since)
}

// matches tells whether an If-None-Match header names a tag (RFC 9110 13.1.2:
// weak comparison, a list, or * for any).
func matches(header, tag string) bool {
	for _, one := range strings.Split(header, ",") {
		if one = strings.TrimSpace(one); one == "*" || strings.TrimPrefix(one, "W/") == tag {
			return true
		}
	}
	return false
}

// FeedToken gives the token of the feed that belongs to a page's token, so that
// the page can show its feed's address though only hashes are kept. Whoever has
// the page's token can make the feed's, and never the other way round: a
// calendar that is passed on opens no page.
func FeedToken(page string) string {
	sum := sha256.Sum256([]byte("feed of page " + page))
	return base64.RawURLEncoding.EncodeToString(sum[:])
}

// liftsOf tells what the survey says of the scaffold that is wanted.
func liftsOf(site schedule.Site) (lifts string, class int, kNM2 float64) {
	if n, ok := site.Facts["scaffold_lifts"].(float64); ok && n > 0 {
		lifts = counted(int(n), "lift", "lifts")
	}
	if n, ok := site.Facts["scaffold_load_class"].(float64); ok {
		if load, known := safety.LoadOfClass(int(n)); known {
			class, kNM2 = int(n), load
		}
	}
	return lifts, class, kNM2
}
