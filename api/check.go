package api

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/gin-gonic/gin"
)

//go:generate go tool oapi-codegen -config contract.yaml openapi.yaml

//go:embed openapi.yaml
var contractText []byte

// apiBase is where the contract's routes begin.
const apiBase = "/api/v1"

// contract holds requests against the document, so that what it says about
// lengths, ranges and patterns is true. The generated server only reads types.
type contract struct{ doc *openapi3.T }

func readContract() (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(contractText)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	return &contract{doc: doc}, nil
}

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

// contractRefusal names each thing that the document does not allow.
func contractRefusal(err error) error {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return large
	}
	r := &refusal{kind: malformed, errors: contractErrors(err, "")}
	if len(r.errors) == 1 {
		r.detail = strings.TrimPrefix(r.errors[0].Pointer+": "+r.errors[0].Detail, ": ")
	} else {
		r.detail = fmt.Sprintf("%d things are wrong: each is named below", len(r.errors))
	}
	return r
}

func contractErrors(err error, at string) []ProblemError {
	var many openapi3.MultiError
	var request *openapi3filter.RequestError
	var parse *openapi3filter.ParseError
	var schema *openapi3.SchemaError
	switch {
	case as(err, &many):
		var all []ProblemError
		for _, one := range many {
			all = append(all, contractErrors(one, at)...)
		}
		return all
	case as(err, &request):
		if p := request.Parameter; p != nil {
			at = p.In + " " + p.Name
		}
		if request.Err == nil {
			return []ProblemError{{Pointer: at, Detail: request.Reason}}
		}
		return contractErrors(request.Err, at)
	case as(err, &schema):
		return []ProblemError{{Pointer: join(at, schema.JSONPointer()), Detail: schema.Reason}}
	case as(err, &parse):
		return []ProblemError{{Pointer: at, Detail: unreadable(parse)}}
	case errors.Is(err, openapi3filter.ErrInvalidRequired):
		return []ProblemError{{Pointer: at, Detail: "must be given"}}
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return []ProblemError{{Pointer: at, Detail: "the content ends too early"}}
	default:
		return []ProblemError{{Pointer: at, Detail: err.Error()}}
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

func unreadable(p *openapi3filter.ParseError) string {
	if p.Reason != "" {
		return p.Reason
	}
	if p.Cause != nil {
		return p.Cause.Error()
	}
	return "cannot be read"
}

func join(at string, path []string) string {
	if at != "" && len(path) == 0 {
		return at
	}
	if at != "" {
		return at + " /" + strings.Join(path, "/")
	}
	return "/" + strings.Join(path, "/")
}
