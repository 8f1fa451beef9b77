package api

import (
	"fmt"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/weather/fault"
)

// fitForm keeps whether somebody is fit for work today.
func (s *server) fitForm(c *gin.Context, caller Caller) error {
	v, err := s.morningOf(c, caller)
	if err != nil {
		return err
	}
	person, err := uuid.Parse(c.PostForm("person"))
	if err != nil {
		return badID("person", c.PostForm("person"))
	}
	if given := c.PostForm("fit"); given != "yes" && given != "no" {
		return fault.Bad("fit", given, "yes or no")
	}
	err = s.DeclareFitness(c.Request.Context(), caller, recordID(c.Request.Context()),
		FitnessInput{person, v.Snapshot.Day, c.PostForm("fit") == "yes", strings.TrimSpace(c.PostForm("pin"))})
	if faults := pageFaults(err, map[string]string{"pin": "fitpin-" + person.String()}); faults != nil {
		return s.showMorning(c, caller, v, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.backToMorning(c, v, fmt.Sprintf("fit-%s", c.PostForm("fit")))
}
