package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/cmd/radonyear/internal/report"
)

// A map is a GeoJSON FeatureCollection (RFC 7946) whose features are areas. The results
// of areas go into their features' properties, each under "radon_" and the name it has
// in CSV; everything else of the map is kept as it stands.

// member is one field of a JSON object, in its place.
type member struct {
	name  string
	value json.RawMessage
}

// areaMap is a map that was read.
type areaMap struct {
	path, key string
	members   []member
	at        int // of the features among them
	features  []feature
}

type feature struct {
	members    []member
	at         int // of the properties; −1: none
	properties []member
	area       string // by the key; "" if it has none
}

const mapPrefix = "radon_"

// mapFlags are those of a map.
func mapFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "map", Usage: "GeoJSON `FILE` of the areas, for --format geojson: the same map with the results in it"},
		&cli.StringFlag{Name: "map-key", Usage: "`PROPERTY` of the map's features that names the area as the readings do"},
	}
}

// surveyFormat is outputFormat, with geojson beside the formats of every command.
func surveyFormat(c *cli.Context) (string, error) {
	ending := strings.ToLower(filepath.Ext(c.String("output")))
	asked := c.String("format") == "geojson" || c.String("format") == "" && ending == ".geojson"
	for _, option := range []string{"map", "map-key"} {
		switch given := c.String(option) != ""; {
		case given && !asked:
			return "", usageError{fmt.Sprintf("--%s is for --format geojson", option), "add --format geojson, or leave out --" + option}
		case !given && asked:
			return "", usageError{fmt.Sprintf("--format geojson needs --%s", option), "--map areas.geojson --map-key name"}
		}
	}
	if asked {
		if c.String("plot") != "" {
			return "", usageError{"--plot does not go with --format geojson", "run once for each"}
		}
		return "geojson", nil
	}
	return outputFormat(c)
}

// readMap reads the map that --map names.
func readMap(c *cli.Context) (*areaMap, error) {
	m := &areaMap{path: c.String("map"), key: c.String("map-key")}
	for _, option := range []string{"output", "rejects"} {
		if out := c.String(option); out != "" {
			if err := refuseInput("--"+option, out, []string{m.path}); err != nil {
				return nil, err
			}
		}
	}
	text, err := os.ReadFile(m.path)
	if err != nil {
		return nil, hinted{fmt.Errorf("reading the map %s: %w", m.path, bare(err)), "give a GeoJSON file of the areas"}
	}
	bad := func(format string, args ...any) error {
		return hinted{fmt.Errorf("%s: %s", m.path, fmt.Sprintf(format, args...)), "a map is a GeoJSON FeatureCollection, a feature an area"}
	}
	if !json.Valid(text) {
		var any json.RawMessage
		err := json.Unmarshal(text, &any)
		var at *json.SyntaxError
		if errors.As(err, &at) {
			line := 1 + bytes.Count(text[:min(int(at.Offset), len(text))], []byte("\n"))
			return nil, hinted{fmt.Errorf("%s:%d: %w", m.path, line, err), "a map is a GeoJSON FeatureCollection, a feature an area"}
		}
		return nil, bad("%v", err)
	}
	if m.members, err = membersOf(text); err != nil {
		return nil, bad("%v", err)
	}
	if kind := textOf(m.members, "type"); kind != "FeatureCollection" {
		return nil, bad("its type is %q, not FeatureCollection", kind)
	}
	m.at = slices.IndexFunc(m.members, func(x member) bool { return x.name == "features" })
	var features []json.RawMessage
	if m.at < 0 || json.Unmarshal(m.members[m.at].value, &features) != nil {
		return nil, bad("it has no list of features")
	}
	seen := map[string]int{}
	keyed := 0
	for i, raw := range features {
		var f feature
		if f.members, err = membersOf(raw); err != nil || textOf(f.members, "type") != "Feature" {
			return nil, bad("feature %d is none", i+1)
		}
		f.at = slices.IndexFunc(f.members, func(x member) bool { return x.name == "properties" })
		if f.at >= 0 && string(bytes.TrimSpace(f.members[f.at].value)) != "null" {
			if f.properties, err = membersOf(f.members[f.at].value); err != nil {
				return nil, bad("feature %d: its properties are no object", i+1)
			}
		}
		if k := slices.IndexFunc(f.properties, func(x member) bool { return x.name == m.key }); k >= 0 {
			keyed++
			if f.area = textOf(f.properties, m.key); f.area != "" {
				if first, twice := seen[f.area]; twice {
					return nil, bad("features %d and %d are both %q by %s", first, i+1, f.area, m.key)
				}
				seen[f.area] = i + 1
			}
		}
		m.features = append(m.features, f)
	}
	if keyed == 0 {
		var names []string
		for _, f := range m.features {
			for _, p := range f.properties {
				if !slices.Contains(names, p.name) {
					names = append(names, p.name)
				}
			}
		}
		return nil, usageError{fmt.Sprintf("--map-key %s: no feature of %s has such a property", m.key, m.path), "its properties are " + strings.Join(names, ", ")}
	}
	return m, nil
}

// membersOf are the fields of an object, in order.
func membersOf(text []byte) (all []member, err error) {
	d := json.NewDecoder(bytes.NewReader(text))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return nil, errors.New("it is no object")
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, err
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		all = append(all, member{name.(string), value})
	}
	return all, nil
}

// textOf is a field that is text, or a number as it stands.
func textOf(members []member, name string) string {
	for _, m := range members {
		if m.name != name {
			continue
		}
		var s string
		if json.Unmarshal(m.value, &s) == nil {
			return s
		}
		var n json.Number
		if json.Unmarshal(m.value, &n) == nil {
			return n.String()
		}
	}
	return ""
}

// with is the map with the document's rows, and which areas it has no feature for.
func (m *areaMap) with(doc report.Document) (text []byte, missing []string, err error) {
	rows, err := doc.Flat()
	if err != nil {
		return nil, nil, err
	}
	byArea := map[string][]report.Field{}
	var names []string
	for _, r := range rows {
		name := r[slices.IndexFunc(r, func(f report.Field) bool { return f.Name == "area" })].Value.(string)
		byArea[name] = r
		names = append(names, name)
	}
	used := map[string]bool{}
	without := 0
	features := []byte("[")
	for i, f := range m.features {
		if i > 0 {
			features = append(features, ',')
		}
		properties := slices.DeleteFunc(slices.Clone(f.properties), func(x member) bool { return strings.HasPrefix(x.name, mapPrefix) })
		if row, ok := byArea[f.area]; ok && f.area != "" {
			used[f.area] = true
			for _, v := range row {
				if v.Name == "area" {
					continue
				}
				value, err := json.Marshal(v.Value)
				if err != nil {
					return nil, nil, err
				}
				properties = append(properties, member{mapPrefix + v.Name, value})
			}
		} else {
			without++
		}
		value, err := objectOf(properties)
		if err != nil {
			return nil, nil, err
		}
		whole := slices.Clone(f.members)
		if f.at < 0 {
			whole = append(whole, member{"properties", value})
		} else {
			whole[f.at].value = value
		}
		if value, err = objectOf(whole); err != nil {
			return nil, nil, err
		}
		features = append(append(features, '\n'), value...)
	}
	for _, name := range names {
		if !used[name] {
			missing = append(missing, strconv.Quote(name))
		}
	}
	slices.Sort(missing)
	said, err := json.Marshal(struct {
		Version    string    `json:"version"`
		Levels     []float64 `json:"levels"`
		Confidence float64   `json:"confidence"`
		NotOnMap   []string  `json:"areas_not_on_map"`
		Without    int       `json:"features_without_result"`
		LeftOut    int       `json:"homes_left_out"`
		Says       []string  `json:"says"`
	}{version, doc.Levels, doc.Confidence, append([]string{}, missing...), without, len(doc.LeftOut), doc.After})
	if err != nil {
		return nil, nil, err
	}
	members := slices.Clone(m.members)
	members[m.at].value = append(features, "\n]"...)
	members = slices.DeleteFunc(members, func(x member) bool { return x.name == "radonyear" })
	text, err = objectOf(append(members, member{"radonyear", said}))
	return append(text, '\n'), missing, err
}

// objectOf writes fields as an object, without spaces but for what a value has that
// was made here.
func objectOf(members []member) ([]byte, error) {
	b := []byte("{")
	for i, x := range members {
		if i > 0 {
			b = append(b, ',')
		}
		name, err := json.Marshal(x.name)
		if err != nil {
			return nil, err
		}
		b = append(append(append(b, name...), ':'), x.value...)
	}
	return append(b, '}'), nil
}

// emitMap writes the map where --output says; areas that are not on it are said, and
// make the answer one that leaves something out.
func (p *program) emitMap(c *cli.Context, m *areaMap, doc report.Document) error {
	text, missing, err := m.with(doc)
	if err != nil {
		return err
	}
	if len(missing) == len(doc.Tables[doc.CSVTable].Rows) {
		return hinted{fmt.Errorf("no area of the homes is on the map %s by %s: %s", m.path, m.key, firstFew(missing)), "another --map-key, or names written alike in both"}
	}
	if path := c.String("output"); path == "" || path == "-" {
		if _, err := p.stdout.Write(text); err != nil {
			return writing("standard output", err)
		}
	} else if err := replaceFile(path, text); err != nil {
		return err
	}
	if err := p.partial(doc); err != nil && missing == nil {
		return err
	}
	if missing != nil {
		fmt.Fprintf(p.stderr, "radonyear: skipped: %s not on the map by %s: %s\n", count(len(missing), "area"), m.key, report.Plain(firstFew(missing)))
		return errPartial
	}
	return nil
}
