package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/schedule"
	"toeboard/weather"
	"toeboard/weather/fault"
)

// ScaffoldFile reads everything that is recorded about one job's scaffold.
func (s *Service) ScaffoldFile(ctx context.Context, firm uuid.UUID, ref string) (safety.ScaffoldFile, schedule.Job, error) {
	j, err := s.schedule.Job(ctx, firm, ref)
	if err != nil {
		return safety.ScaffoldFile{}, j, err
	}
	f, err := s.safety.ScaffoldFile(ctx, firm, j.ID)
	return f, j, err
}

// RemedyFinding records what was done about a report's findings.
func (s *Service) RemedyFinding(ctx context.Context, by Caller, id uuid.UUID, ref string, r safety.Remedy) (time.Time, error) {
	j, err := s.schedule.Job(ctx, by.Firm, ref)
	if err != nil {
		return time.Time{}, err
	}
	r.ID, r.RecordedBy, r.RecordedAt = id, by.Name, s.now()
	r, err = s.safety.AddRemedy(ctx, by.Firm, j.ID, r)
	return r.RecordedAt, err
}

// DeliverReport records that a report was given to whom it was made for. Told
// again after a lost answer it is told once.
func (s *Service) DeliverReport(ctx context.Context, by Caller, ref string, d safety.Delivery) (time.Time, error) {
	f, j, err := s.ScaffoldFile(ctx, by.Firm, ref)
	if err != nil {
		return time.Time{}, err
	}
	d.RecordedBy, d.RecordedAt = by.Name, s.now()
	for _, was := range f.Deliveries {
		if was.Report == d.Report && was.To == d.To && was.At.Equal(kept(d.At)) {
			return was.RecordedAt, nil
		}
	}
	return d.RecordedAt, s.safety.AddDelivery(ctx, by.Firm, j.ID, d)
}

// NoticeGusts looks at every open job whose scaffold was inspected or handed
// over: when a gust reached the firm's event gust there since, read on site or
// in the hours that had passed when a kept forecast was made, it records the
// event, and nobody is clear to start there until the scaffold is inspected
// again. It gives how many events it recorded.
func (s *Service) NoticeGusts(ctx context.Context, firm uuid.UUID) (int, error) {
	jobs, err := s.schedule.Jobs(ctx, firm)
	if err != nil {
		return 0, err
	}
	noticed := 0
	var failed []error
	for _, j := range jobs {
		if j.State != schedule.JobOpen {
			continue
		}
		n, err := s.noticeAt(ctx, firm, j)
		noticed += n
		if err != nil {
			failed = append(failed, fmt.Errorf("look for gusts at %s: %w", j.Ref, err))
		}
	}
	return noticed, errors.Join(failed...)
}

// noticeAt is NoticeGusts for one job. The event's identity is made from the job
// and the hour, so that two instances record it once.
func (s *Service) noticeAt(ctx context.Context, firm uuid.UUID, j schedule.Job) (int, error) {
	file, err := s.safety.ScaffoldFile(ctx, firm, j.ID)
	if err != nil || len(file.Reports) == 0 || file.Strike.State == "done" {
		return 0, err
	}
	own, err := s.safety.FirmHazards(ctx, firm)
	if err != nil {
		return 0, err
	}
	gusts, err := s.gustsAt(ctx, firm, j, file)
	if err != nil {
		return 0, err
	}
	e := file.GustEvent(gusts, own.EventGust(), s.now())
	if e == nil {
		return 0, nil
	}
	e.ID = uuid.NewSHA1(j.ID, []byte("gust "+e.At.Format(time.RFC3339)))
	_, err = s.safety.AddEvent(ctx, firm, *e)
	if alreadyThere(err) || fault.KindOf(err) == fault.Conflict {
		return 0, nil
	}
	return 1, err
}

// gustsAt gathers the gusts known at a job since its scaffold was last reported
// on: readings on site, and what kept forecasts say of hours that had passed when
// they were fetched, which services fill by analysis. Of a forecast of several
// members the control counts. They stand at 10 m in open country: at a house's
// height it blows less, so the event errs to one inspection too many.
func (s *Service) gustsAt(ctx context.Context, firm uuid.UUID, j schedule.Job, file safety.ScaffoldFile) ([]safety.Gust, error) {
	readings, err := s.safety.GustReadings(ctx, firm, j.ID)
	if err != nil {
		return nil, err
	}
	var all []safety.Gust
	for _, r := range readings {
		all = append(all, safety.Gust{MS: r.GustMS, At: r.At, From: "read on site"})
	}
	oldest := file.Reports[0].At
	for _, r := range file.Reports {
		if r.Kind == safety.Inspection {
			oldest = r.At // reports come the newest first
			break
		}
	}
	answers, err := s.archive.Since(ctx, firm, j.Site.ID, oldest)
	if err != nil {
		return nil, err
	}
	for _, a := range answers {
		all = append(all, pastGusts(s.read(a))...)
	}
	return all, nil
}

// pastGusts gives the gusts of a series' hours that had passed when it was
// fetched. An hour without a gust is no calm: its mean wind tells one that errs
// high, as everywhere.
func pastGusts(series weather.Series) []safety.Gust {
	var all []safety.Gust
	if len(series.Members) == 0 {
		return nil
	}
	for _, h := range series.Members[0].Hours { // the control
		end := h.From.Add(h.Span)
		if end.After(series.FetchedAt) {
			break
		}
		g := h.WindGust
		from := "analysis of " + series.Provider + " at 10 m"
		if !g.Known && h.WindMean.Known {
			g = weather.Is(weather.GustFrom(h.WindMean.N))
			from += ", from the mean wind"
		}
		if g.Known {
			all = append(all, safety.Gust{MS: g.N, At: end, From: from})
		}
	}
	return all
}
