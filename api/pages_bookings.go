package api

import (
	"context"
	"encoding/csv"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/web"
)

// bookingsPage tells the office what is booked, what it costs and what could
// come down.
func (s *server) bookingsPage(c *gin.Context, caller Caller) error {
	return s.showBookings(c, caller, http.StatusOK, uuid.Nil, nil)
}

// costsShown is for how many offers the cost is worked out at once; each takes
// about a second for a large firm.
const costsShown = 2

// showBookings shows the page, after a form with what was wrong in it beside the
// booking it was about.
func (s *server) showBookings(c *gin.Context, caller Caller, status int, about uuid.UUID, wrong []web.Fault) error {
	ctx := c.Request.Context()
	b, err := s.Booked(ctx, caller.Firm)
	if err != nil {
		return err
	}
	files, err := s.schedule.HandoverFiles(ctx, caller.Firm)
	if err != nil {
		return err
	}
	page := web.BookingsPage{Sheet: s.sheet(c.Request, caller), CSVHref: "/bookings.csv"}
	page.Faults = wrong
	office := may(caller.Role, AnswerBooking)
	for _, k := range b.Bookings {
		if k.State == schedule.BookingCountered || k.State == schedule.BookingRefused {
			row := b.offerRow(k, office)
			if k.State == schedule.BookingCountered && office && len(page.Offers) < costsShown {
				row.Cost, row.CostHref = s.offerCosts(ctx, caller.Firm, k), ""
			}
			page.Offers = append(page.Offers, row)
		}
		page.Rows = append(page.Rows, b.bookingRow(k, office, files))
	}
	for _, k := range b.First {
		row := b.strikeRow(k, office)
		if k.Booking.ID == about {
			row.On = web.Day(c.PostForm("on"))
		}
		page.Strikes = append(page.Strikes, row)
	}
	return s.show(c, status, page)
}

// offerCosts works the cost out; a plan that cannot be asked leaves it open.
func (s *server) offerCosts(ctx context.Context, firm uuid.UUID, k schedule.Booking) string {
	says, err := s.OfferCosts(ctx, firm, k)
	if err != nil {
		s.log.Warn("work out what an offered day costs", "firm", firm, "booking", k.ID, "error", err)
		return "What it costs could not be worked out: plan again to see."
	}
	return says
}

func (b Booked) offerRow(k schedule.Booking, office bool) web.OfferRow {
	j, f := b.jobs[k.Job], b.firms[k.ScaffoldFirm]
	row := web.OfferRow{ID: k.ID.String(), Ref: j.Ref, Href: jobHref(j.Ref), Firm: f.Name}
	if k.State == schedule.BookingRefused {
		row.Says = fmt.Sprintf("They cannot do %s and offer no other day: the next plan asks another day of them, or another firm. Plan again, or ring %s.", k.ErectOn.Short(), strings.TrimSpace(f.Name+" "+f.Phone))
		return row
	}
	row.Says = fmt.Sprintf("They offer %s instead of %s.", k.OfferedOn.Short(), k.ErectOn.Short())
	row.CostHref = fmt.Sprintf("/what-if?kind=pin&job=%s&stage=%s&who=%s&on=%s", j.Ref, schedule.ScaffoldErection.Key(), k.ScaffoldFirm, k.OfferedOn)
	if office {
		asked := fmt.Sprintf("?seen=%d&on=%s", k.Sequence, k.OfferedOn)
		row.Take, row.TakeWords = "/bookings/"+k.ID.String()+"/take"+asked, "Take "+k.OfferedOn.Short()
		row.Decline = "/bookings/" + k.ID.String() + "/decline" + asked
	}
	return row
}

func (b Booked) strikeRow(k schedule.ToStrike, office bool) web.StrikeRow {
	j := b.jobs[k.Booking.Job]
	row := web.StrikeRow{ID: k.Booking.ID.String(), Ref: j.Ref, Href: jobHref(j.Ref), Place: shortPlace(j.Site.Address), Why: k.Why,
		Asked: k.Booking.State == schedule.BookingOffHire, Earliest: webDay(b.Today)}
	if office {
		row.OffHire = "/bookings/" + k.Booking.ID.String() + "/off-hire"
		row.On = webDay(max(b.Today, k.Booking.StrikeOn))
	}
	return row
}

func (b Booked) bookingRow(k schedule.Booking, office bool, files []schedule.HandoverFile) web.BookingRow {
	j, h := b.jobs[k.Job], b.hire(k)
	row := web.BookingRow{ID: k.ID.String(), Ref: j.Ref, Href: jobHref(j.Ref), Place: shortPlace(j.Site.Address), Firm: b.firms[k.ScaffoldFirm].Name,
		State: capital(bookingWords(k)), Erect: webDay(k.ErectOn), Strike: webDay(k.StrikeOn), Stands: k.State.Stands(),
		SoFar: web.Money(h.SoFar), Next: webDay(h.NextOn), PerWeek: web.Money(h.PerWeek), Soon: h.Soon(k, b.Today)}
	if row.Stands {
		row.Weeks = fmt.Sprintf("%s begun, %d in the price", counted(h.WeeksBegun, "week", "weeks"), h.Included)
	}
	if office && k.State == schedule.BookingErected {
		row.Inspected = "/bookings/" + row.ID + "/inspected"
	}
	if office && k.State == schedule.BookingOffHire {
		row.Keep = "/bookings/" + row.ID + "/keep"
	}
	for _, f := range files {
		if f.Booking == k.ID {
			row.Files = append(row.Files, web.FileLink{Words: "Certificate " + f.Name, Href: "/bookings/" + row.ID + "/files/" + f.ID.String()})
		}
	}
	return row
}

// bookingStep makes a form's handler of one step of a booking's life.
func (s *server) bookingStep(done string, step func(c *gin.Context, caller Caller, booking uuid.UUID) error) func(*gin.Context, Caller) error {
	return func(c *gin.Context, caller Caller) error {
		id, err := uuid.Parse(c.Param("booking"))
		if err != nil {
			return badID("booking", c.Param("booking"))
		}
		err = step(c, caller, id)
		if faults := pageFaults(err); faults != nil {
			for i := range faults {
				if faults[i].Field == "strike on" || faults[i].Field == "/strike_on" || strings.Contains(faults[i].Field, "strike") {
					faults[i].Field = "on-" + id.String()
				} else {
					faults[i].Field = ""
				}
			}
			return s.showBookings(c, caller, refusalOf(err).kind.status, id, faults)
		}
		if err != nil {
			return err
		}
		return s.done(c, "/bookings", done)
	}
}

func (s *server) takeOffer(c *gin.Context, caller Caller, booking uuid.UUID) error {
	seen, on, err := seenOffer(c)
	if err == nil {
		_, err = s.AcceptOffer(c.Request.Context(), caller.Firm, booking, seen, on, caller.Name)
	}
	return err
}

func (s *server) declineOffer(c *gin.Context, caller Caller, booking uuid.UUID) error {
	seen, on, err := seenOffer(c)
	if err == nil {
		_, err = s.schedule.DeclineOffer(c.Request.Context(), caller.Firm, booking, seen, on, caller.Name, s.now())
	}
	return err
}

// seenOffer reads which offer the page showed.
func seenOffer(c *gin.Context) (seen int, on civil.Date, err error) {
	seen, err = strconv.Atoi(c.Query("seen"))
	if err == nil {
		on, err = civil.Parse(c.Query("on"))
	}
	if err != nil {
		return 0, civil.NoDate, &refusal{kind: malformed, detail: "the form does not say which offer was seen: open the page again"}
	}
	return seen, on, nil
}

func (s *server) offHire(c *gin.Context, caller Caller, booking uuid.UUID) error {
	on, err := typedDay(c, "on")
	if err == nil {
		_, err = s.OffHire(c.Request.Context(), caller.Firm, booking, on, caller.Name)
	}
	return err
}

func (s *server) keepOnHire(c *gin.Context, caller Caller, booking uuid.UUID) error {
	_, err := s.schedule.KeepOnHire(c.Request.Context(), caller.Firm, booking, caller.Name, s.now())
	return err
}

func (s *server) inspected(c *gin.Context, caller Caller, booking uuid.UUID) error {
	_, err := s.schedule.MarkInspected(c.Request.Context(), caller.Firm, booking, caller.Name, schedule.ByOffice, s.now())
	return err
}

// handoverFile gives the office a certificate. The content was sniffed when it
// came; it is served as a file to keep, never as a page of ours.
func (s *server) handoverFile(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("file"))
	if err != nil {
		return badID("file", c.Param("file"))
	}
	f, body, err := s.schedule.HandoverFile(c.Request.Context(), caller.Firm, id)
	if err != nil {
		return err
	}
	c.Header("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": f.Name}))
	c.Header("Content-Security-Policy", "default-src 'none'; sandbox")
	c.Data(http.StatusOK, f.MediaType, body)
	return nil
}

// bookingsFile is the list as CSV.
func (s *server) bookingsFile(c *gin.Context, caller Caller) error {
	b, err := s.Booked(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="scaffold.csv"`)
	c.Data(http.StatusOK, "text/csv; charset=utf-8", []byte(bookingsCSV(b.directory, b.Bookings, true)))
	return nil
}

// bookingsCSV writes bookings as RFC 4180 has it. Text that a spreadsheet would
// take for a formula is made harmless.
func bookingsCSV(d directory, all []schedule.Booking, firms bool) string {
	var out strings.Builder
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	head := []string{"job", "address", "postcode", "state", "erect_on", "strike_on", "offered_on", "sequence", "uid"}
	if firms {
		head = append(head, "scaffold_firm")
	}
	_ = w.Write(head) // into memory: it cannot fail
	for _, b := range all {
		j := d.jobs[b.Job]
		offered := ""
		if b.OfferedOn.Known() {
			offered = b.OfferedOn.String()
		}
		row := []string{j.Ref, strings.Join(strings.Fields(j.Site.Address), " "), j.Site.Postcode, b.State.String(), b.ErectOn.String(), b.StrikeOn.String(), offered,
			strconv.Itoa(b.Sequence), b.UID}
		if firms {
			row = append(row, d.firms[b.ScaffoldFirm].Name)
		}
		for i, cell := range row {
			if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
				row[i] = "'" + cell
			}
		}
		_ = w.Write(row)
	}
	w.Flush()
	return out.String()
}
