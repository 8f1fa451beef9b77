package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/weather"
	"toeboard/weather/archive"
	"toeboard/weather/fault"
	"toeboard/web"
)

// The firm's weather: its limits, and what its forecasts were worth.

// limitsPage shows the limits in force; task and quantity fill the form.
func (s *server) limitsPage(c *gin.Context, caller Caller) error {
	return s.showLimits(c, caller, web.LimitForm{Task: c.Query("task"), Quantity: c.Query("quantity")}, nil)
}

// showLimits shows the limits with the form as it was asked for or typed.
func (s *server) showLimits(c *gin.Context, caller Caller, asked web.LimitForm, wrong error) error {
	in, err := s.limitsInForce(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page := web.Limits{Sheet: s.sheet(c.Request, caller), Version: in.Version, Loose: in.Loosened(), Asked: asked,
		Marks: []web.Choice{{Key: string(weather.FirmsOwn), Words: "the firm's own rule"}, {Key: string(weather.SecondHand), Words: "read second-hand"}, {Key: string(weather.Read), Words: "read in the document itself"}}}
	if may(caller.Role, SetLimits) {
		page.Action = "/settings/limits"
	}
	for _, q := range weather.Quantities() {
		words := q.Name()
		if q.Unit() != "" {
			words += ", " + q.Unit()
		}
		page.Quantities = append(page.Quantities, web.Choice{Key: q.String(), Words: words})
	}
	for _, task := range append([]weather.Task{weather.Outdoors}, weather.OutdoorTasks()...) {
		page.TaskKinds = append(page.TaskKinds, web.Choice{Key: task.String(), Words: task.Doing()})
		page.Tasks = append(page.Tasks, limitTask(in.Limits, task, page.Action != ""))
	}
	if len(in.set) > 0 {
		page.SetBy, page.SetAt, page.Why = in.set[0].SetBy, momentWords(in.set[0].SetAt, caller), in.set[0].Why
	}
	for i, v := range in.set {
		page.Before = append(page.Before, web.LimitsBefore{Version: v.Version, By: v.SetBy, At: momentWords(v.SetAt, caller), Why: v.Why, Says: in.changes(i), Loose: v.Loosened()})
	}
	if wrong == nil {
		page.Asked = limitFilled(in.Limits, asked)
		return s.show(c, http.StatusOK, page)
	}
	if page.Faults = pageFaults(wrong, limitInputs); page.Faults == nil {
		return wrong
	}
	return s.show(c, refusalOf(wrong).kind.status, page)
}

// limitInputs says in which input a fault of a row is put right.
var limitInputs = map[string]string{"caution and stop": "stop", "level": "stop", "limits": "stop", "unit": "quantity"}

// limitsNow is the limits in force and every version that the firm set.
type limitsNow struct {
	weather.Limits
	set []archive.LimitsVersion // the newest first
}

func (s *Service) limitsInForce(ctx context.Context, firm uuid.UUID) (in limitsNow, err error) {
	if in.set, err = s.archive.LimitsHistory(ctx, firm); err != nil {
		return in, err
	}
	in.Limits, err = s.archive.Limits(ctx, firm)
	return in, err
}

// changes says what a version changed in the one before it.
func (in limitsNow) changes(i int) []string {
	if i+1 < len(in.set) {
		return in.set[i].Changes(in.set[i+1].Limits)
	}
	return in.set[i].Changes(weather.DefaultLimits())
}

// limitTask is the rows that a task has of its own.
func limitTask(l weather.Limits, task weather.Task, change bool) web.LimitTask {
	t := web.LimitTask{Key: task.String(), Name: "while " + task.Doing()}
	for _, q := range weather.Quantities() {
		row, ok := l.Row(task, q)
		if !ok {
			continue
		}
		name := q.Name()
		if q == weather.RecentRain {
			name = fmt.Sprintf("rain in the %s before", counted(row.Hours, "hour", "hours"))
		}
		start, had := weather.DefaultLimits().Row(task, q)
		r := web.LimitRow{Quantity: name, Caution: row.Level(row.Caution), Stop: row.Level(row.Stop), Source: row.Says() + ".", Looser: row.Looser(), Own: !had || start != row}
		if change {
			r.Href = "/settings/limits?task=" + task.String() + "&quantity=" + q.String() + "#change"
		}
		t.Rows = append(t.Rows, r)
	}
	return t
}

// limitFilled fills the form with the row that is asked for, if there is one.
func limitFilled(l weather.Limits, f web.LimitForm) web.LimitForm {
	var task weather.Task
	var q weather.Quantity
	if task.UnmarshalText([]byte(f.Task)) != nil || q.UnmarshalText([]byte(f.Quantity)) != nil {
		return web.LimitForm{Mark: string(weather.FirmsOwn)}
	}
	f.Mark = string(weather.FirmsOwn)
	if row, ok := l.Row(task, q); ok {
		f.Caution, f.Stop, f.Source, f.Mark = plainValue(row.Caution), plainValue(row.Stop), row.Source, string(row.Mark)
		if row.Hours > 0 {
			f.Hours = strconv.Itoa(row.Hours)
		}
	}
	return f
}

func plainValue(v weather.Value) string {
	if !v.Known {
		return ""
	}
	return strconv.FormatFloat(v.N, 'f', -1, 64)
}

// limitForm stores the limits with one row changed as the next version.
func (s *server) limitForm(c *gin.Context, caller Caller) error {
	p := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	asked := web.LimitForm{Task: p("task"), Quantity: p("quantity"), Hours: p("hours"), Caution: p("caution"), Stop: p("stop"), Source: p("source"), Mark: p("mark"), Why: p("why")}
	row, err := limitTyped(asked)
	version, notNumber := strconv.Atoi(p("version"))
	if notNumber != nil {
		err = errors.Join(err, fault.Bad("version", p("version"), "the version that the page showed"))
	}
	if err != nil {
		return s.showLimits(c, caller, asked, err)
	}
	in, err := s.archive.Limits(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	wanted := in.With(row)
	wanted.Version = version
	if len(wanted.Changes(in)) == 0 {
		return s.showLimits(c, caller, asked, fault.Bad("stop", asked.Stop, "something that changes: this is what holds already"))
	}
	if _, err := s.archive.SetLimits(c.Request.Context(), caller.Firm, wanted, caller.Name, asked.Why, s.now()); err != nil {
		return s.showLimits(c, caller, asked, err)
	}
	if row.Looser() != "" {
		return s.done(c, "/settings/limits", "looser")
	}
	return s.done(c, "/settings/limits", "limits")
}

// limitTyped reads the row that was typed, all that is wrong with it joined.
func limitTyped(f web.LimitForm) (weather.Limit, error) {
	row := weather.Limit{Source: f.Source, Mark: weather.Mark(f.Mark)}
	var faults []error
	faults = append(faults, row.Task.UnmarshalText([]byte(f.Task)), row.Quantity.UnmarshalText([]byte(f.Quantity)))
	row.Unit = row.Quantity.Unit()
	if f.Why == "" {
		faults = append(faults, fault.Bad("why", "", "why the limit is changed, in a few words"))
	}
	for _, level := range []struct {
		field, typed string
		into         *weather.Value
	}{{"caution", f.Caution, &row.Caution}, {"stop", f.Stop, &row.Stop}} {
		if level.typed == "" {
			continue
		}
		n, err := strconv.ParseFloat(strings.Replace(level.typed, ",", ".", 1), 64)
		if *level.into = weather.Is(n); err != nil || !level.into.Known {
			faults = append(faults, fault.Bad(level.field, level.typed, "a number"+inUnit(row.Unit)+", or nothing for no such level"))
		}
	}
	if row.Quantity == weather.RecentRain && f.Hours != "" {
		n, err := strconv.Atoi(f.Hours)
		if err != nil {
			faults = append(faults, fault.Bad("hours", f.Hours, "a whole number of hours, 1 to 72"))
		}
		row.Hours = n
	}
	return row, errors.Join(faults...)
}

func inUnit(unit string) string {
	if unit == "" {
		return ""
	}
	return " of " + unit
}
