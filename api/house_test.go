package api

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The house rules about who may import whom, as a test: every Go file of the
// module that is not a test is parsed.

const module = "toeboard"

// ours says which of our own packages a room may import. A room is named by the
// first folder; an entry ending in /... stands for everything below.
var ours = map[string][]string{
	"cmd":        {"toeboard/..."},
	"api":        {"toeboard/api/...", "toeboard/schedule/...", "toeboard/safety/...", "toeboard/weather/...", "toeboard/web"},
	"schedule":   {"toeboard/schedule/...", "toeboard/weather", "toeboard/weather/civil", "toeboard/weather/fault"},
	"safety":     {"toeboard/safety/...", "toeboard/weather", "toeboard/weather/civil", "toeboard/weather/fault"},
	"weather":    {"toeboard/weather/..."},
	"web":        {"toeboard/web/..."},
	"migrations": {"toeboard/migrations/...", "toeboard/weather/fault", "toeboard/weather/civil"},
	"testdata":   {},
}

// exactly is for packages with a narrower rule than their room's.
var exactly = map[string][]string{
	"api/mailer":       {"toeboard/weather/fault"},
	"schedule/solver":  {},
	"schedule/imip":    {"toeboard/weather/civil", "toeboard/weather/fault"},
	"schedule/ical":    {"toeboard/weather/civil", "toeboard/weather/fault"},
	"safety/ledger":    {},
	"safety/paper":     {"toeboard/safety", "toeboard/weather", "toeboard/weather/civil"},
	"weather":          {"toeboard/weather/civil", "toeboard/weather/fault"},
	"weather/civil":    {"toeboard/weather/fault"},
	"weather/fault":    {},
	"weather/manners":  {"toeboard/weather", "toeboard/weather/fault"},
	"weather/composed": {"toeboard/weather", "toeboard/weather/civil", "toeboard/weather/fault"},
}

// stores may go through the tenant package, put jobs into the queue and write
// messages, wherever they are.
var storesToo = []string{"toeboard/migrations/tenant", "toeboard/migrations/queue", "toeboard/migrations/outbox"}

// goFile is one parsed file.
type goFile struct {
	path    string // from the module's root, with slashes
	dir     string
	room    string
	store   bool
	tree    *ast.File
	set     *token.FileSet
	imports map[string]string // by the name used in the file
}

func (f goFile) at(n ast.Node) string {
	return fmt.Sprintf("%s:%d", f.path, f.set.Position(n.Pos()).Line)
}

func moduleFiles(t *testing.T) []goFile {
	t.Helper()
	root := ".."
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatalf("the module's root: %v", err)
	}
	var files []goFile
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (strings.HasPrefix(d.Name(), ".") && p != root || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(p, ".go") || strings.HasSuffix(p, "_test.go") {
			return nil
		}
		rel, err := filepath.Rel(root, p)
		if err != nil {
			return err
		}
		files = append(files, readGo(t, p, filepath.ToSlash(rel)))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 20 {
		t.Fatalf("only %d files found: the walk does not reach the module", len(files))
	}
	return files
}

func readGo(t *testing.T, p, rel string) goFile {
	t.Helper()
	f := goFile{path: rel, dir: path.Dir(rel), set: token.NewFileSet(), imports: map[string]string{}}
	f.room, _, _ = strings.Cut(rel, "/")
	f.store = strings.HasPrefix(path.Base(rel), "store") || f.dir == "weather/archive"
	tree, err := parser.ParseFile(f.set, p, nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatalf("%s: %v", rel, err)
	}
	f.tree = tree
	for _, im := range tree.Imports {
		target, err := strconv.Unquote(im.Path.Value)
		if err != nil {
			t.Fatal(err)
		}
		name := path.Base(target)
		if im.Name != nil {
			name = im.Name.Name
		}
		f.imports[name] = target
	}
	return f
}

func covers(allowed []string, target string) bool {
	for _, a := range allowed {
		if a == target {
			return true
		}
		if tree, ok := strings.CutSuffix(a, "/..."); ok && (target == tree || strings.HasPrefix(target, tree+"/")) {
			return true
		}
	}
	return false
}

// refused says why a file may not import something; "" = it may.
func refused(f goFile, target string) string {
	standard := !strings.Contains(strings.Split(target, "/")[0], ".") && !strings.HasPrefix(target, module)
	switch {
	case strings.HasPrefix(target, module+"/"):
		return foreignRoom(f, target)
	case target == "github.com/jackc/pgx/v5" || strings.HasPrefix(target, "github.com/jackc/"):
		if !f.store && f.room != "migrations" && f.room != "cmd" {
			return "pgx belongs into store*.go, migrations and cmd"
		}
	case strings.HasPrefix(target, "github.com/riverqueue/"):
		if f.room != "migrations" {
			return "River belongs into migrations: the others know migrations/queue"
		}
	case strings.HasPrefix(target, "github.com/gin-"):
		if f.room != "api" {
			return "gin belongs into api"
		}
	case standard && slices.Contains([]string{"net/http", "os", "log/slog", "log", "database/sql", "os/exec", "net"}, target):
		if !f.store && !slices.Contains([]string{"cmd", "api", "migrations"}, f.room) && !providerAdapter(f.dir) {
			return target + " belongs into cmd, api, stores, migrations and the weather services' adapters"
		}
	}
	if f.dir == "schedule/solver" && !standard {
		return "the kernel knows the standard library only"
	}
	return ""
}

func foreignRoom(f goFile, target string) string {
	if f.store && covers(storesToo, target) {
		return ""
	}
	allowed, narrow := exactly[f.dir]
	if !narrow {
		var known bool
		if allowed, known = ours[f.room]; !known {
			return "no rule for the room " + f.room + ": decide what it may import"
		}
	}
	if !covers(allowed, target) {
		return f.dir + " may not know " + target
	}
	return ""
}

// providerAdapter are the packages that talk to weather services.
func providerAdapter(dir string) bool {
	return slices.Contains([]string{"weather/openmeteo", "weather/metno", "weather/composed", "weather/manners", "weather/archive"}, dir)
}

// pure are the packages that take data and give back data.
func pure(f goFile) bool {
	if f.store || providerAdapter(f.dir) {
		return false
	}
	return slices.Contains([]string{"schedule", "safety", "weather", "web"}, f.room)
}

func TestNoForbiddenImport(t *testing.T) {
	t.Parallel()
	for _, f := range moduleFiles(t) {
		for _, im := range f.tree.Imports {
			target, err := strconv.Unquote(im.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			if why := refused(f, target); why != "" {
				t.Errorf("%s imports %s: %s", f.at(im), target, why)
			}
		}
	}
}

// impure are calls that read the clock, make an identifier or draw without a
// seed. rand.New with a source is allowed: the source has a seed.
var impure = map[string][]string{
	"time":                   {"Now", "Since", "Until", "After", "Tick", "NewTimer", "NewTicker", "Sleep", "AfterFunc"},
	"github.com/google/uuid": {"New", "NewString", "NewRandom", "NewUUID", "NewV6", "NewV7", "NewDCEGroup", "NewDCEPerson", "NewRandomFromReader", "NewV7FromReader"},
	"crypto/rand":            {"Read", "Int", "Prime", "Text"},
	"math/rand": {"Int", "Intn", "Int31", "Int31n", "Int63", "Int63n", "Float32", "Float64", "NormFloat64", "ExpFloat64", "Perm", "Shuffle",
		"Uint32", "Uint64", "Read", "Seed"},
	"math/rand/v2": {"Int", "IntN", "Int32", "Int32N", "Int64", "Int64N", "Uint32", "Uint32N", "Uint64", "Uint64N", "UintN", "N", "Uint",
		"Float32", "Float64", "NormFloat64", "ExpFloat64", "Perm", "Shuffle"},
}

// impureUses finds each use, called or passed on.
func impureUses(f goFile) []string {
	var found []string
	ast.Inspect(f.tree, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		pkg, ok := sel.X.(*ast.Ident)
		if !ok {
			return true
		}
		target := f.imports[pkg.Name]
		if target == "" && pkg.Name == "rand" {
			target = f.imports["v2"] // the last part of math/rand/v2 is not its name
		}
		if slices.Contains(impure[target], sel.Sel.Name) {
			found = append(found, fmt.Sprintf("%s uses %s.%s", f.at(sel), pkg.Name, sel.Sel.Name))
		}
		return true
	})
	return found
}

func TestPureRoomsReadNoClockAndDrawNothing(t *testing.T) {
	t.Parallel()
	for _, f := range moduleFiles(t) {
		if !pure(f) {
			continue
		}
		for _, use := range impureUses(f) {
			t.Errorf("%s: take it as a value instead", use)
		}
	}
}

// TestTheRulesSeeWhatTheyForbid makes sure that the two tests above can fail.
func TestTheRulesSeeWhatTheyForbid(t *testing.T) {
	t.Parallel()
	bad := []struct{ path, imports, use string }{
		{"schedule/plan.go", `"github.com/jackc/pgx/v5"`, ""},
		{"schedule/plan.go", `"toeboard/safety"`, ""},
		{"safety/decide.go", `"toeboard/schedule"`, ""},
		{"schedule/plan.go", `"toeboard/weather/openmeteo"`, ""},
		{"schedule/plan.go", `"net/http"`, ""},
		{"schedule/solver/search.go", `"toeboard/weather/civil"`, ""},
		{"schedule/solver/search.go", `"github.com/google/uuid"`, ""},
		{"schedule/solver/search.go", `"os"`, ""},
		{"weather/judge.go", `"toeboard/schedule"`, ""},
		{"weather/judge.go", `"log/slog"`, ""},
		{"web/render.go", `"toeboard/schedule"`, ""},
		{"web/render.go", `"github.com/gin-gonic/gin"`, ""},
		{"safety/store.go", `"toeboard/schedule"`, ""},
		{"api/server.go", `"github.com/jackc/pgx/v5/pgxpool"`, ""},
		{"cmd/toeboard/serve.go", `"github.com/gin-gonic/gin"`, ""},
		{"shed/new.go", `"toeboard/weather"`, ""},
		{"api/store_queue.go", `"github.com/riverqueue/river"`, ""},
		{"api/service_runs.go", `"toeboard/migrations/queue"`, ""},
		{"schedule/plan.go", `"time"`, "time.Now()"},
		{"schedule/plan.go", `"github.com/google/uuid"`, "uuid.New()"},
		{"weather/chance.go", `"math/rand/v2"`, "rand.IntN(3)"},
		{"safety/decide.go", `"time"`, "func() { f := time.Now; f() }()"},
	}
	for _, b := range bad {
		source := fmt.Sprintf("package x\nimport %s\nfunc f() { %s }\n", b.imports, b.use)
		p := filepath.Join(t.TempDir(), "x.go")
		if err := os.WriteFile(p, []byte(source), 0o600); err != nil {
			t.Fatal(err)
		}
		f := readGo(t, p, b.path)
		target, err := strconv.Unquote(b.imports)
		if err != nil {
			t.Fatal(err)
		}
		if refused(f, target) == "" && !(pure(f) && len(impureUses(f)) > 0) {
			t.Errorf("%s importing %s and using %q passes", b.path, b.imports, b.use)
		}
	}
	good := []struct{ path, imports string }{
		{"schedule/store.go", `"github.com/jackc/pgx/v5"`}, {"schedule/store_plan.go", `"toeboard/migrations/tenant"`},
		{"api/server.go", `"github.com/gin-gonic/gin"`}, {"weather/openmeteo/client.go", `"net/http"`},
		{"weather/archive/archive.go", `"toeboard/migrations/tenant"`}, {"cmd/toeboard/main.go", `"toeboard/api"`},
	}
	for _, g := range good {
		target, _ := strconv.Unquote(g.imports)
		room, _, _ := strings.Cut(g.path, "/")
		f := goFile{path: g.path, dir: path.Dir(g.path), room: room, store: strings.HasPrefix(path.Base(g.path), "store") || path.Dir(g.path) == "weather/archive"}
		if why := refused(f, target); why != "" {
			t.Errorf("%s importing %s is refused: %s", g.path, target, why)
		}
	}
}
