package main

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"toeboard/schedule/solver"
	"toeboard/weather/fault"
)

// instance is one file of the library. Set, cell and number are read from its
// name: j1201_10 is the tenth of cell 1 of J120.
type instance struct {
	path, name, set string
	cell, number    int
	best            *best // nil = nothing is published
}

// best is what is published of an instance: claims of the tables that the file
// of best known results names.
type best struct {
	lower, upper solver.Slot
	proven       bool
}

// hardCells are those of the library's parameter grid with the lowest resource
// strength (0.2 in J30 and J60, 0.1 in J120), where capacity hardly exceeds the
// largest demand (Kolisch and Sprecher 1996); a selection of ten in each set.
var hardCells = map[string][]int{
	"j30":  {1, 5, 9, 13, 17, 21, 25, 29, 41, 45},
	"j60":  {1, 5, 9, 13, 17, 21, 25, 29, 41, 45},
	"j120": {1, 6, 11, 16, 21, 26, 31, 36, 46, 56},
}

var libraryName = regexp.MustCompile(`^(j30|j60|j90|j120|rg300)_?(\d+)(?:_(\d+))?$`)

// name finds set, cell and number of an instance; ok is false for a name that
// is none of the library's.
func (in *instance) readName() (ok bool) {
	m := libraryName.FindStringSubmatch(strings.ToLower(in.name))
	if m == nil {
		return false
	}
	in.set = m[1]
	in.cell, _ = strconv.Atoi(m[2])
	in.number, _ = strconv.Atoi(m[3])
	return true
}

// readSize names the set of an instance by its number of activities, for files
// that somebody named otherwise.
func (in *instance) readSize() error {
	d, err := readInstance(in.path)
	if err != nil {
		return err
	}
	in.set = "n" + strconv.Itoa(len(d.Activities))
	for set, n := range map[string]int{"j30": 30, "j60": 60, "j90": 90, "j120": 120, "rg300": 300} {
		if len(d.Activities) == n {
			in.set = set
		}
	}
	return nil
}

func readInstance(path string) (solver.Data, error) {
	f, err := os.Open(path)
	if err != nil {
		return solver.Data{}, err
	}
	defer f.Close()
	d, err := solver.ReadPSPLIB(f)
	if err != nil {
		return d, fmt.Errorf("%s: %w", path, err)
	}
	return d, nil
}

// sets finds the instances that are asked for, each set by itself and in the
// library's order.
func (v solverVerb) sets() ([][]instance, error) {
	all, err := findInstances(v.Dir)
	if err != nil {
		return nil, err
	}
	if err := v.addBest(all); err != nil {
		return nil, err
	}
	var sets [][]instance
	nth := map[string]int{}
	for _, in := range all {
		if !v.wants(in) {
			continue
		}
		if nth[in.set]++; (nth[in.set]-1)%v.Every != 0 {
			continue
		}
		if len(sets) == 0 || sets[len(sets)-1][0].set != in.set {
			sets = append(sets, nil)
		}
		sets[len(sets)-1] = append(sets[len(sets)-1], in)
	}
	if len(sets) == 0 {
		return nil, fault.Bad("DIR", v.Dir, fmt.Sprintf("a folder with instances (.sm) of which some are asked for; it has %d", len(all)))
	}
	return sets, nil
}

func (v solverVerb) wants(in instance) bool {
	hard := slices.Contains(hardCells[in.set], in.cell) && in.number == 1
	return (!v.Hard || hard) && (len(v.Only) == 0 || slices.Contains(v.Only, in.name))
}

// findInstances lists the .sm files of a folder and of those in it, set by set.
func findInstances(dir string) ([]instance, error) {
	var all []instance
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || filepath.Ext(path) != ".sm" {
			return err
		}
		in := instance{path: path, name: strings.TrimSuffix(filepath.Base(path), ".sm")}
		if !in.readName() {
			err = in.readSize()
		}
		all = append(all, in)
		return err
	})
	slices.SortFunc(all, func(a, b instance) int {
		return cmp.Or(cmp.Compare(len(a.set), len(b.set)), cmp.Compare(a.set, b.set), cmp.Compare(a.cell, b.cell),
			cmp.Compare(a.number, b.number), cmp.Compare(a.path, b.path))
	})
	return all, err
}

// addBest adds what is published. Without a table that is nothing.
func (v solverVerb) addBest(all []instance) error {
	path := v.Best
	for _, dir := range []string{v.Dir, filepath.Dir(filepath.Clean(v.Dir))} {
		if usual := filepath.Join(dir, "best_known.csv"); path == "" {
			if _, err := os.Stat(usual); err == nil {
				path = usual
			}
		}
	}
	if path == "" {
		return nil
	}
	known, err := readBest(path)
	if err != nil {
		return err
	}
	for i := range all {
		if b, ok := known[all[i].name]; ok {
			all[i].best = &b
		}
	}
	return nil
}

// readBest reads a table of best known results: columns instance, lower_bound,
// upper_bound and proved_optimal (0 or 1), in any order among others.
func readBest(path string) (map[string]best, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(rows) == 0 {
		return nil, fault.Bad(path, "empty", "a heading and a row for each instance")
	}
	column := map[string]int{}
	for _, name := range []string{"instance", "lower_bound", "upper_bound", "proved_optimal"} {
		if column[name] = slices.Index(rows[0], name); column[name] < 0 {
			return nil, fault.Bad(path, strings.Join(rows[0], ","), "a column "+name)
		}
	}
	known := map[string]best{}
	for i, row := range rows[1:] {
		lower, err1 := strconv.ParseInt(row[column["lower_bound"]], 10, 31)
		upper, err2 := strconv.ParseInt(row[column["upper_bound"]], 10, 31)
		proven := row[column["proved_optimal"]]
		if err1 != nil || err2 != nil || lower < 1 || upper < lower || proven != "0" && proven != "1" {
			return nil, fault.Bad(fmt.Sprintf("%s, row %d", path, i+2), strings.Join(row, ","), "whole bounds, the lower one not above the upper one, and proved_optimal 0 or 1")
		}
		known[row[column["instance"]]] = best{solver.Slot(lower), solver.Slot(upper), proven == "1"}
	}
	return known, nil
}
