package weather

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
)

// CSV writes the limits as ParseLimits reads them. The version is not part of
// it: whoever stores a file gives it the next one.
func (l Limits) CSV() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b) // errors of writing to memory there are none
	w.Write(limitsHeader)
	for _, row := range l.Rows {
		hours := ""
		if row.Hours != 0 {
			hours = strconv.Itoa(row.Hours)
		}
		w.Write([]string{row.Task.String(), row.Quantity.String(), hours, row.Caution.plain(), row.Stop.plain(), row.Unit, row.Source, string(row.Mark)})
	}
	w.Flush()
	return b.Bytes()
}

// plain writes the number with as many digits as it has, "" when unknown.
func (v Value) plain() string {
	if !v.Known {
		return ""
	}
	return strconv.FormatFloat(v.N, 'f', -1, 64)
}

// Changes says in a sentence for each row what these limits change in others;
// none when they judge alike and give the same sources.
func (l Limits) Changes(from Limits) []string {
	var say []string
	for _, row := range l.Rows {
		old, had := from.Row(row.Task, row.Quantity)
		switch {
		case !had:
			say = append(say, fmt.Sprintf("%s: new, %s", row.subject(), row.levels()))
		case old != row:
			say = append(say, row.subject()+": "+row.changes(old))
		}
	}
	for _, old := range from.Rows {
		if _, has := l.Row(old.Task, old.Quantity); !has {
			say = append(say, fmt.Sprintf("%s: taken out, was %s", old.subject(), old.levels()))
		}
	}
	return say
}

// Row gives the task's own row; what holds where it has none is another task's
// or that of all outdoor tasks.
func (l Limits) Row(task Task, q Quantity) (Limit, bool) {
	for _, row := range l.Rows {
		if row.Task == task && row.Quantity == q {
			return row, true
		}
	}
	return Limit{}, false
}

func (row Limit) subject() string {
	return fmt.Sprintf("%s while %s", row.Quantity.Name(), row.Task.Doing())
}

func (row Limit) levels() string {
	return fmt.Sprintf("caution %s, stop %s", row.Level(row.Caution), row.Level(row.Stop))
}

// Level writes one of the row's levels with its unit, "none" where there is none.
func (row Limit) Level(v Value) string {
	if !v.Known {
		return "none"
	}
	if row.Unit == "" {
		return v.plain()
	}
	return v.plain() + " " + row.Unit
}

// changes names what differs from the row before.
func (row Limit) changes(old Limit) string {
	say := ""
	add := func(what, was, is string) {
		if was == is {
			return
		}
		if say != "" {
			say += ", "
		}
		say += fmt.Sprintf("%s %s becomes %s", what, was, is)
	}
	add("caution", old.Level(old.Caution), row.Level(row.Caution))
	add("stop", old.Level(old.Stop), row.Level(row.Stop))
	add("hours", strconv.Itoa(old.Hours), strconv.Itoa(row.Hours))
	add("source", strconv.Quote(old.Says()), strconv.Quote(row.Says()))
	return say
}
