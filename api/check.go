package api

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/gin-gonic/gin"

	"toeboard/weather/fault"
)

//go:generate go tool oapi-codegen -config contract.yaml openapi.yaml

//go:embed openapi.yaml
var contractText []byte

// apiBase is where the contract's routes begin.
const apiBase = "/api/v1"

// contract holds requests against the document, so that what it says about
// lengths, ranges and patterns is true. The generated server only reads types.
type contract struct{ doc *openapi3.T }

// readContract reads the document once for the whole program: it is long, never
// changes while the program runs, and is only read.
var readContract = sync.OnceValues(func() (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(contractText)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	return &contract{doc: doc}, nil
})

// route finds the operation that gin chose.
func (k *contract) route(c *gin.Context) (*routers.Route, map[string]string) {
	path := strings.TrimPrefix(c.FullPath(), apiBase)
	params := map[string]string{}
	for _, p := range c.Params {
		path = strings.Replace(path, ":"+p.Key, "{"+p.Key+"}", 1)
		params[p.Key] = p.Value
	}
	item := k.doc.Paths.Value(path)
	if item == nil {
		return nil, nil
	}
	return &routers.Route{Spec: k.doc, Path: path, PathItem: item, Method: c.Request.Method, Operation: item.GetOperation(c.Request.Method)}, params
}

// check refuses a request that the document does not allow.
func (k *contract) check(c *gin.Context) error {
	route, params := k.route(c)
	if route == nil || route.Operation == nil {
		return nil // not a route of the contract
	}
	body := route.Operation.RequestBody
	if body != nil && body.Value.GetMediaType(c.ContentType()) == nil {
		return &refusal{kind: unsupportedMedia, detail: fmt.Sprintf("the content is %q: send %s", c.ContentType(), mediaTypes(body.Value))}
	}
	err := openapi3filter.ValidateRequest(c.Request.Context(), &openapi3filter.RequestValidationInput{
		Request: c.Request, PathParams: params, Route: route,
		Options: &openapi3filter.Options{
			MultiError:         true,
			AuthenticationFunc: openapi3filter.NoopAuthenticationFunc,
			// A file is read by the import, which names line and column.
			ExcludeRequestBody: c.ContentType() == "text/csv",
		},
	})
	if err == nil {
		return nil
	}
	return contractRefusal(err)
}

func mediaTypes(b *openapi3.RequestBody) string {
	for name := range b.Content { // each route takes one
		return name
	}
	return "nothing"
}

// contractRefusal names each thing that the document does not allow: one entry
// for each field or parameter, in our own words.
func contractRefusal(err error) error {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return large
	}
	found := contractFaults(err)
	r := &refusal{kind: malformed}
	seen := map[string]bool{}
	for _, f := range found {
		if !seen[f.Field] {
			seen[f.Field] = true
			r.errors = append(r.errors, ProblemError{Pointer: f.Field, Detail: sayFault(f)})
		}
	}
	r.detail = r.errors[0].Detail
	if len(r.errors) > 1 {
		r.detail = fmt.Sprintf("%d things are wrong: each is named below", len(r.errors))
	}
	return r
}

// contractFaults reads the validator's tree of errors; it always gives at least
// one fault, and never the validator's own text.
func contractFaults(err error) []*fault.Error {
	var many openapi3.MultiError
	var request *openapi3filter.RequestError
	switch {
	case as(err, &many) && len(many) > 0:
		var all []*fault.Error
		for _, one := range many {
			all = append(all, contractFaults(one)...)
		}
		return all
	case as(err, &request) && request.Parameter != nil:
		return []*fault.Error{parameterFault(request)}
	case as(err, &request):
		return bodyFaults(request)
	default:
		return []*fault.Error{fault.Bad("request", "", "write it as /api/openapi.yaml says")}
	}
}

// as looks at err itself, not down its chain: the levels are walked one by one.
func as[T error](err error, target *T) bool {
	t, ok := err.(T)
	if ok {
		*target = t
	}
	return ok
}

// parameterFault says what is wrong with one parameter: what was given is in
// the request.
func parameterFault(e *openapi3filter.RequestError) *fault.Error {
	p, in := e.Parameter, e.Input
	want := wanted(p.Schema.Value)
	if errors.Is(e.Err, openapi3filter.ErrInvalidRequired) {
		return fault.Bad(p.Name, "", "must be given: "+want)
	}
	given := ""
	switch p.In {
	case openapi3.ParameterInPath:
		given = in.PathParams[p.Name]
	case openapi3.ParameterInQuery:
		given = in.GetQueryParams().Get(p.Name)
	case openapi3.ParameterInHeader:
		given = in.Request.Header.Get(p.Name)
	}
	return bad(p.Name, given, want)
}

// wholeBody stands for the content itself where no field of it can be named.
const wholeBody = "body"

func bodyFaults(e *openapi3filter.RequestError) []*fault.Error {
	var media *openapi3.MediaType
	if e.RequestBody != nil {
		media = e.RequestBody.GetMediaType(e.Input.Request.Header.Get("Content-Type"))
	}
	if media == nil || media.Schema == nil {
		return []*fault.Error{fault.Bad(wholeBody, "", wanted(nil))}
	}
	var many openapi3.MultiError
	var one *openapi3.SchemaError
	var parse *openapi3filter.ParseError
	switch {
	case errors.Is(e.Err, openapi3filter.ErrInvalidRequired):
		return []*fault.Error{fault.Bad(wholeBody, "", "must be given: "+wanted(media.Schema.Value))}
	case as(e.Err, &many), as(e.Err, &one):
		return schemaFaults(e.Err, media.Schema.Value)
	case as(e.Err, &parse):
		return []*fault.Error{unreadable(e.Input.Request)}
	default:
		return []*fault.Error{fault.Bad(wholeBody, "", "it did not come whole: send it again")}
	}
}

// unreadable says where the content stops being JSON.
func unreadable(r *http.Request) *fault.Error {
	want := "one whole JSON document (RFC 8259) in UTF-8"
	if r.GetBody == nil {
		return fault.Bad(wholeBody, "", want)
	}
	body, err := r.GetBody()
	if err != nil {
		return fault.Bad(wholeBody, "", want)
	}
	defer body.Close()
	content, err := io.ReadAll(body)
	if err != nil {
		return fault.Bad(wholeBody, "", want)
	}
	var wrong *json.SyntaxError
	var value any
	if !errors.As(json.Unmarshal(content, &value), &wrong) {
		return fault.Bad(wholeBody, "", want)
	}
	if at := wrong.Offset; at < int64(len(content)) && at > 0 {
		// One byte is shown and no more: a password may stand beside it.
		return fault.Bad(wholeBody, string(content[at-1:at]), fmt.Sprintf("is no JSON from byte %d on: %s", at, want))
	}
	return fault.Bad(wholeBody, "", fmt.Sprintf("ends too early, after %d bytes: %s", len(content), want))
}

// schemaFaults walks down to the errors that have no cause of their own: those
// above only gather them.
func schemaFaults(err error, root *openapi3.Schema) []*fault.Error {
	var many openapi3.MultiError
	var e *openapi3.SchemaError
	switch {
	case as(err, &many):
		var all []*fault.Error
		for _, one := range many {
			all = append(all, schemaFaults(one, root)...)
		}
		return all
	case !as(err, &e):
		return []*fault.Error{fault.Bad(wholeBody, "", wanted(root))}
	}
	if errors.As(errors.Unwrap(e.Origin), &many) && len(many) > 0 {
		return schemaFaults(many, root)
	}
	return schemaFault(e, root)
}

// schemaFault names the fields of an object that are missing or not in the
// document, or else the value itself. The validator has two ways of its own to
// point at a missing field, at the object or at the field; both are read.
func schemaFault(e *openapi3.SchemaError, root *openapi3.Schema) []*fault.Error {
	path := e.JSONPointer()
	at := schemaAt(root, path)
	fields, isObject := e.Value.(map[string]any)
	if n := len(path) - 1; isObject && n >= 0 && (at == nil || !at.Type.Is("object")) {
		if parent := schemaAt(root, path[:n]); parent != nil && (e.SchemaField == "required" || e.SchemaField == "properties") {
			path, at = path[:n], parent
		}
	}
	var all []*fault.Error
	switch {
	case !isObject || at == nil:
	case e.SchemaField == "required":
		for _, name := range at.Required {
			if _, there := fields[name]; !there {
				all = append(all, fault.Bad(pointer(append(slices.Clone(path), name)), "", "must be given: "+wanted(schemaAt(at, []string{name}))))
			}
		}
	case e.SchemaField == "additionalProperties", e.SchemaField == "properties":
		for _, name := range slices.Sorted(maps.Keys(fields)) {
			if at.Properties[name] == nil {
				// Its value is not repeated: it may be a password under another name.
				all = append(all, fault.Bad(pointer(append(slices.Clone(path), name)), "", "is no field here: "+wanted(at)))
			}
		}
	}
	switch {
	case len(all) > 0:
		return all
	case at != nil && at.Format == secret:
		return []*fault.Error{fault.Bad(pointer(path), "", wanted(at))}
	default:
		return []*fault.Error{bad(pointer(path), given(e.Value), wanted(at))}
	}
}

// schemaAt finds what the document says of one field; nil when it says nothing.
func schemaAt(s *openapi3.Schema, path []string) *openapi3.Schema {
	for _, name := range path {
		var next *openapi3.SchemaRef
		switch {
		case s == nil:
			return nil
		case s.Properties[name] != nil:
			next = s.Properties[name]
		case s.Items != nil:
			next = s.Items
		default:
			next = s.AdditionalProperties.Schema
		}
		if next == nil {
			return nil
		}
		s = next.Value
	}
	return s
}

// pointer writes a JSON pointer (RFC 6901).
func pointer(path []string) string {
	if len(path) == 0 {
		return wholeBody
	}
	var b strings.Builder
	for _, name := range path {
		b.WriteString("/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name))
	}
	return b.String()
}

// bad is fault.Bad for a value that may be empty or long.
func bad(field, value, want string) *fault.Error {
	const most = 60
	if letters := []rune(value); len(letters) > most {
		value = string(letters[:most]) + "…"
	}
	if value == "" {
		want = "is empty: " + want
	}
	return fault.Bad(field, value, want)
}

// given writes a JSON value as it was sent; a list or an object only by name.
func given(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case map[string]any:
		return "a JSON object"
	case []any:
		return "a JSON list"
	case nil:
		return "null"
	default:
		return fmt.Sprint(v)
	}
}

// secret is the format of what is never repeated (OpenAPI 3.1, "password").
const secret = "password"

// patternWords says in words what the document's patterns ask for, where the
// format does not say it. A test holds them against the document.
var patternWords = map[string]string{
	`^[0-9]{1,8}$`:   "1 to 8 digits",
	`^[0-9]{4,8}$`:   "4 to 8 digits",
	"^[0-9a-f]{64}$": "64 digits of 0-9 and a-f, as the assessment's body_hash has them",
}

// wanted says in words what the document allows.
func wanted(s *openapi3.Schema) string {
	switch {
	case s == nil:
		return "as /api/openapi.yaml says"
	case len(s.Enum) > 0:
		return "one of " + strings.Join(mapped(s.Enum, func(v any) string { return fmt.Sprint(v) }), ", ")
	case s.Type.Is("object") && len(s.Properties) > 0:
		return "a JSON object with the fields " + strings.Join(slices.Sorted(maps.Keys(s.Properties)), ", ")
	case s.Type.Is("object") && s.MaxProps != nil:
		return fmt.Sprintf("a JSON object with at most %d entries", *s.MaxProps)
	case s.Type.Is("object"):
		return "a JSON object"
	case s.Type.Is("array"):
		return "a JSON list"
	case s.Type.Is("boolean"):
		return "true or false"
	case s.Type.Is("integer"):
		return "a whole number" + between(s)
	case s.Type.Is("number"):
		return "a number" + between(s)
	case s.Format == "uuid":
		return "an identifier such as 0190a5c2-7b1e-7cc3-98c4-dc0c0c07398f"
	case s.Format == "date":
		return "a day of the calendar such as 2026-12-31"
	case s.Format == "date-time":
		return "an instant such as 2026-12-31T08:00:00Z"
	case patternWords[s.Pattern] != "":
		return patternWords[s.Pattern]
	default:
		return "text" + long(s)
	}
}

func between(s *openapi3.Schema) string {
	number := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
	words := ""
	if s.Min != nil {
		words += " from " + number(*s.Min)
	}
	switch {
	case s.Max != nil:
		words += " to " + number(*s.Max)
	case s.ExclusiveMax.Value != nil:
		words += " to less than " + number(*s.ExclusiveMax.Value)
	}
	return words
}

func long(s *openapi3.Schema) string {
	switch {
	case s.MaxLength != nil && s.MinLength > 0:
		return fmt.Sprintf(" of %d to %d characters", s.MinLength, *s.MaxLength)
	case s.MaxLength != nil:
		return fmt.Sprintf(" of at most %d characters", *s.MaxLength)
	default:
		return ""
	}
}

// asMalformed is for what the generated code cannot read. The contract's check
// stands before it and says more: what is left are numbers that are whole but
// not written so, such as 1.0. The reader's own text stays inside.
func asMalformed(err error) error {
	if r := refusalOf(err); r.kind != internal {
		return err
	}
	f := fault.Bad("request", "", "write it as /api/openapi.yaml says; whole numbers without a point or an exponent")
	var mistyped *json.UnmarshalTypeError
	if errors.As(err, &mistyped) && mistyped.Field != "" {
		f = fault.Bad(pointer(strings.Split(mistyped.Field, ".")), strings.TrimPrefix(mistyped.Value, "number "), "a whole number without a point or an exponent")
	}
	return badRequest(f)
}

// badRequest refuses a request for one parameter or field.
func badRequest(f *fault.Error) error {
	return &refusal{kind: malformed, detail: sayFault(f), errors: []ProblemError{{Pointer: f.Field, Detail: sayFault(f)}}}
}
