package api

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// ReadImport says what a file of jobs would change, and changes nothing.
func (s *Service) ReadImport(ctx context.Context, firm uuid.UUID, file io.Reader) (schedule.Import, error) {
	known, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return schedule.Import{}, err
	}
	return schedule.ReadJobs(file, known)
}

// Import takes a file of jobs, all of it or nothing. Taking the same file twice
// changes nothing the second time.
func (s *Service) Import(ctx context.Context, firm uuid.UUID, by string, file io.Reader) (schedule.Import, error) {
	dry, err := s.ReadImport(ctx, firm, file)
	if err != nil {
		return schedule.Import{}, err
	}
	return dry, s.schedule.ApplyImport(ctx, firm, dry, by, s.now())
}

// Export writes all jobs as Import takes them.
func (s *Service) Export(ctx context.Context, firm uuid.UUID, w io.Writer) error {
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return err
	}
	return schedule.WriteJobs(w, jobs)
}

// JobFile is everything about one job.
type JobFile struct {
	directory
	Job        schedule.Job
	Location   *time.Location
	Plan       *schedule.Plan    // published; nil = none
	Pins       []schedule.Pin    // of all jobs
	Booking    *schedule.Booking // the one that counts; nil = none
	History    []schedule.BookingVersion
	Assessment *safety.AssessmentInForce // nil = none
	Reports    []safety.ScaffoldReport
	Events     []safety.ScaffoldEvent
	Strip      *web.Strip // of the next roof work, or today; nil = no forecast
	Plume      *web.Plume // of the coming days; nil = no forecast of several members
	Gang       *gangDay   // the next day of the booked scaffold firm; nil = none within the forecast
	Carrying   string     // the wind that stops carrying this job's module; "" = no roof work
}

// JobFile reads everything about one job.
func (s *Service) JobFile(ctx context.Context, firm uuid.UUID, ref string) (JobFile, error) {
	var f JobFile
	var err error
	if f.Job, err = s.schedule.Job(ctx, firm, ref); err != nil {
		return f, err
	}
	home, err := s.schedule.Firm(ctx, firm)
	if err != nil {
		return f, err
	}
	if f.Location, err = home.Location(); err != nil {
		return f, fmt.Errorf("read the firm's zone: %w", err)
	}
	if f.directory, err = s.directory(ctx, firm); err != nil {
		return f, err
	}
	if f.Plan, err = s.current(ctx, firm); err != nil {
		return f, err
	}
	if f.Pins, err = s.schedule.Pins(ctx, firm); err != nil {
		return f, err
	}
	if err := s.bookingOf(ctx, firm, &f); err != nil {
		return f, err
	}
	if f.Booking != nil {
		if f.Gang, err = s.gangWeather(ctx, firm, f.Job, *f.Booking, f.firms[f.Booking.ScaffoldFirm], civil.DateOf(s.now(), f.Location)); err != nil {
			return f, err
		}
	}
	if f.Assessment, err = s.assessmentOf(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Reports, err = s.safety.Reports(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Events, err = s.safety.Events(ctx, firm, f.Job.ID); err != nil {
		return f, err
	}
	if f.Carrying, err = s.carrying(ctx, firm, f.Job); err != nil {
		return f, err
	}
	if f.Strip, err = s.strip(ctx, firm, f.Job, stripWindow(f, home, s.now())); err != nil || f.Strip == nil {
		return f, err
	}
	f.Plume, err = s.plume(ctx, firm, f.Job, f.Strip.GustLimitMS, f.Location)
	return f, err
}

// assessmentOf gives the assessment in force; nil when there is none.
func (s *Service) assessmentOf(ctx context.Context, firm, job uuid.UUID) (*safety.AssessmentInForce, error) {
	a, err := s.safety.CurrentAssessment(ctx, firm, job)
	switch {
	case err == nil:
		return &a, nil
	case fault.KindOf(err) == fault.NotFound:
		return nil, nil
	default:
		return nil, err
	}
}

// bookingOf finds the booking that counts: a live one, else the newest.
func (s *Service) bookingOf(ctx context.Context, firm uuid.UUID, f *JobFile) error {
	all, err := s.schedule.Bookings(ctx, firm)
	if err != nil {
		return err
	}
	for i, b := range all {
		if b.Job != f.Job.ID {
			continue
		}
		if f.Booking == nil || b.Live() && !f.Booking.Live() || b.Live() == f.Booking.Live() && b.ChangedAt.After(f.Booking.ChangedAt) {
			f.Booking = &all[i]
		}
	}
	if f.Booking == nil {
		return nil
	}
	f.History, err = s.schedule.BookingHistory(ctx, firm, f.Booking.ID)
	return err
}

// stripWindow is the day whose hours the job page shows: that of the next roof
// work, or today.
func stripWindow(f JobFile, home schedule.Firm, now time.Time) weatherWindow {
	day := civil.DateOf(now, f.Location)
	if f.Plan != nil {
		for _, v := range f.Plan.Visits {
			if v.Job == f.Job.ID && v.Stage == schedule.RoofWork && v.Last().Date() >= day {
				day = max(day, v.First().Date())
			}
		}
	}
	from, _ := home.Hours.Window(day.In(civil.Morning), f.Location)
	_, to := home.Hours.Window(day.In(civil.Afternoon), f.Location)
	return weatherWindow{From: from, To: to, Loc: f.Location}
}

// AnswerBooking records what a scaffold firm said to a booking as it saw it.
// seen is the booking's sequence at that time: when it moved meanwhile, the
// answer was to other days and is refused. The same answer twice is one.
func (s *Service) AnswerBooking(ctx context.Context, firm, booking uuid.UUID, seen int, a schedule.Answer, by string) (schedule.Booking, error) {
	b, err := s.schedule.Booking(ctx, firm, booking)
	if err != nil {
		return schedule.Booking{}, err
	}
	// The answer itself may have raised the sequence by one. One that was raised
	// further belongs to other days, also when it has the same answer by now.
	if b.Sequence != seen && b.Sequence != seen+1 {
		return schedule.Booking{}, fault.Changed("booking", "", "the days were changed since this was read: "+b.Days()+" now; look again before you answer")
	}
	return s.schedule.AnswerBooking(ctx, firm, booking, seen, a, by, s.now())
}

// AcceptOffer records that the office takes the day that a scaffold firm
// offers, for the booking and the offer as they were seen.
func (s *Service) AcceptOffer(ctx context.Context, firm, booking uuid.UUID, seen int, offered civil.Date, by string) (schedule.Booking, error) {
	return s.schedule.AcceptOffer(ctx, firm, booking, seen, offered, by, s.now())
}

// refsOfBookings gives the job's reference of each booking.
func (s *Service) refsOfBookings(ctx context.Context, firm uuid.UUID) (map[uuid.UUID]string, error) {
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return nil, err
	}
	ref := map[uuid.UUID]string{}
	for _, j := range jobs {
		ref[j.ID] = j.Ref
	}
	bookings, err := s.schedule.Bookings(ctx, firm)
	if err != nil {
		return nil, err
	}
	refs := map[uuid.UUID]string{}
	for _, b := range bookings {
		refs[b.ID] = ref[b.Job]
	}
	return refs, nil
}
