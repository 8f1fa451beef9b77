package api

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"toeboard/safety"
	"toeboard/web"
)

// bandRows is how many bands the form asks for; rows that are left empty are none.
const bandRows = 6

// riskMatrix shows what scores mean by a matrix.
func riskMatrix(m safety.Matrix, own bool) web.RiskMatrix {
	w := web.RiskMatrix{Likelihood: mapped(m.Likelihood, riskStep), Severity: mapped(m.Severity, riskStep), Own: own, Looser: m.Looser()}
	for i, b := range m.Bands {
		w.Bands = append(w.Bands, web.RiskBand{No: strconv.Itoa(i + 1), From: strconv.Itoa(b.From), To: strconv.Itoa(b.To), Word: b.Word, Action: b.Action, Stops: b.Stops, Source: b.Source})
	}
	return w
}

func riskStep(s safety.Step) web.RiskStep {
	return web.RiskStep{Step: strconv.Itoa(s.Step), Word: s.Word, Meaning: s.Meaning, Source: s.Source}
}

// matrixForm gives the form's rows: as they were typed, or what is in force with
// rows to spare.
func matrixForm(c *gin.Context, m safety.Matrix) web.RiskMatrix {
	w := riskMatrix(m, false)
	if c.PostForm("change") == "matrix" {
		w = web.RiskMatrix{Likelihood: stepsTyped(c, "likelihood"), Severity: stepsTyped(c, "severity")}
		for i := range bandRows {
			name := fmt.Sprintf("band_%d_", i+1)
			w.Bands = append(w.Bands, web.RiskBand{No: strconv.Itoa(i + 1), To: strings.TrimSpace(c.PostForm(name + "to")), Word: c.PostForm(name + "word"),
				Action: c.PostForm(name + "action"), Stops: c.PostForm(name+"stops") == "yes"})
		}
	}
	for len(w.Bands) < bandRows {
		w.Bands = append(w.Bands, web.RiskBand{No: strconv.Itoa(len(w.Bands) + 1)})
	}
	return w
}

func stepsTyped(c *gin.Context, scale string) (all []web.RiskStep) {
	for n := 1; n <= 5; n++ {
		name := fmt.Sprintf("%s_%d_", scale, n)
		all = append(all, web.RiskStep{Step: strconv.Itoa(n), Word: c.PostForm(name + "word"), Meaning: c.PostForm(name + "meaning")})
	}
	return all
}

// matrixTyped makes a matrix of the form. A band begins where the one before it
// ends; one without an end is none. What is no number is refused with the matrix.
func matrixTyped(f web.RiskMatrix) *safety.Matrix {
	step := func(s web.RiskStep) safety.Step {
		return safety.Step{Step: digit(s.Step), Word: strings.TrimSpace(s.Word), Meaning: strings.TrimSpace(s.Meaning)}
	}
	m := safety.Matrix{Likelihood: mapped(f.Likelihood, step), Severity: mapped(f.Severity, step)}
	from := 1
	for _, b := range f.Bands {
		if b.To == "" && strings.TrimSpace(b.Word) == "" {
			continue
		}
		to, err := strconv.Atoi(b.To)
		if err != nil {
			to = 0 // refused: a band ends where it begins or later
		}
		m.Bands = append(m.Bands, safety.Band{From: from, To: to, Word: strings.TrimSpace(b.Word), Action: strings.TrimSpace(b.Action), Stops: b.Stops})
		from = to + 1
	}
	return &m
}

// matrixFields names the form's inputs by what a fault of the matrix is about.
func matrixFields() map[string]string {
	fields := map[string]string{"bands": "band_1_to"}
	for n := 1; n <= bandRows; n++ {
		fields[fmt.Sprintf("band %d", n)] = fmt.Sprintf("band_%d_to", n)
	}
	for _, scale := range []string{"likelihood", "severity"} {
		for n := 1; n <= 5; n++ {
			fields[fmt.Sprintf("%s %d", scale, n)] = fmt.Sprintf("%s_%d_word", scale, n)
			fields[fmt.Sprintf("%s %d meaning", scale, n)] = fmt.Sprintf("%s_%d_meaning", scale, n)
		}
	}
	return fields
}
