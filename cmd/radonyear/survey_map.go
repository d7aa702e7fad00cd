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

	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
)

// A map is a GeoJSON FeatureCollection (RFC 7946) whose features are areas. The results
// of areas go into their features' properties, each under "radon_" and the name it has
// in CSV, in the place of properties of that name; everything else of the map is kept as
// it stands.

// member is one field of a JSON object, in its place.
type member struct {
	name  string
	value json.RawMessage
}

// areaMap is a map that was read.
type areaMap struct {
	path, key string
	file      report.Input
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

// mapFlags are those of a map, and of the output that may be one.
func mapFlags() []cli.Flag {
	out := outputFlags()
	out[0] = &cli.StringFlag{Name: "format", Usage: "`FORMAT`: table (default), markdown, csv, json, or geojson, which is a map and needs --map and --map-key"}
	out[1] = &cli.StringFlag{Name: "output", Usage: "write to `FILE` instead of standard output; its ending (.txt, .md, .csv, .json, .geojson) sets the format unless --format does"}
	return append(out,
		&cli.StringFlag{Name: "map", Usage: "GeoJSON `FILE` of the areas, for --format geojson: the same map with the results in it; with --publish one of published figures alone"},
		&cli.StringFlag{Name: "map-key", Usage: "`PROPERTY` of the map's features that names the area as the readings do"})
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
	m.file = beside(m.path, text)
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
		if f.members, err = membersOf(raw); err != nil {
			return nil, bad("feature %d: %v", i+1, err)
		}
		if textOf(f.members, "type") != "Feature" {
			return nil, bad("feature %d is none", i+1)
		}
		f.at = slices.IndexFunc(f.members, func(x member) bool { return x.name == "properties" })
		if f.at >= 0 && string(bytes.TrimSpace(f.members[f.at].value)) != "null" {
			if f.properties, err = membersOf(f.members[f.at].value); err != nil {
				return nil, bad("feature %d: its properties: %v", i+1, err)
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

// membersOf are the fields of an object, in order. Two of one name are an error: readers differ
// in which they take, and what is checked of one must not let the other through.
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
		if slices.ContainsFunc(all, func(m member) bool { return m.name == name }) {
			return nil, fmt.Errorf("%q stands there twice", name)
		}
		all = append(all, member{name.(string), value})
	}
	return all, nil
}

// textOf is a field that is text, or a number as it stands.
func textOf(members []member, name string) string {
	k := slices.IndexFunc(members, func(m member) bool { return m.name == name })
	if k < 0 {
		return ""
	}
	var s string
	if json.Unmarshal(members[k].value, &s) == nil {
		return s
	}
	var n json.Number
	if json.Unmarshal(members[k].value, &n) == nil {
		return n.String()
	}
	return ""
}

// results are the areas' rows in the columns of CSV, by area.
func (m *areaMap) results(doc report.Document) (map[string][]report.Field, error) {
	rows, err := doc.Flat()
	if err != nil {
		return nil, err
	}
	byArea := map[string][]report.Field{}
	for _, r := range rows {
		at := slices.IndexFunc(r, func(f report.Field) bool { return f.Name == "area" })
		byArea[r[at].Value.(string)] = slices.Delete(r, at, at+1)
	}
	return byArea, nil
}

// missing are the areas of results that no feature is called by.
func (m *areaMap) missing(byArea map[string][]report.Field) (missing []string) {
	missing = []string{}
	for name := range byArea {
		if !slices.ContainsFunc(m.features, func(f feature) bool { return f.area == name && name != "" }) {
			missing = append(missing, name)
		}
	}
	slices.Sort(missing)
	return missing
}

// resultsOf are results as a feature's properties, but one that the map's key has the
// name of.
func (m *areaMap) resultsOf(row []report.Field) (properties []member, err error) {
	for _, v := range row {
		if mapPrefix+v.Name == m.key {
			continue
		}
		value, err := json.Marshal(v.Value)
		if err != nil {
			return nil, err
		}
		properties = append(properties, member{mapPrefix + v.Name, value})
	}
	return properties, nil
}

// notForPublishing is said in a map that holds more than may be published.
const notForPublishing = "This map is for those who may see the homes: it has areas of single homes, exact counts and all of what the map held. survey --publish --map makes one to publish."

// with is the map with the areas' results, and all else as it was.
func (m *areaMap) with(doc report.Document, byArea map[string][]report.Field) (text []byte, err error) {
	without := 0
	written := map[string]bool{} // in some feature, so in no other from an earlier result
	for _, row := range byArea {
		for _, x := range row {
			written[mapPrefix+x.Name] = mapPrefix+x.Name != m.key
		}
	}
	var features []json.RawMessage
	for _, f := range m.features {
		properties := slices.DeleteFunc(slices.Clone(f.properties), func(x member) bool { return written[x.name] })
		if row, ok := byArea[f.area]; ok && f.area != "" {
			found, err := m.resultsOf(row)
			if err != nil {
				return nil, err
			}
			properties = append(properties, found...)
		} else {
			without++
		}
		value, err := objectOf(properties)
		if err != nil {
			return nil, err
		}
		whole := slices.Clone(f.members)
		if f.at < 0 {
			whole = append(whole, member{"properties", value})
		} else {
			whole[f.at].value = value
		}
		if value, err = objectOf(whole); err != nil {
			return nil, err
		}
		features = append(features, value)
	}
	type read struct {
		Path     string `json:"path"`
		SHA256   string `json:"sha256"`
		Rows     int64  `json:"rows"`
		Rejected int64  `json:"rejected"`
	}
	type readBeside struct {
		Path   string `json:"path"`
		SHA256 string `json:"sha256"`
	}
	var inputs []read
	for _, in := range doc.Inputs {
		inputs = append(inputs, read{in.Path, in.SHA256, in.Rows, in.Rejected})
	}
	var besides []readBeside
	for _, in := range append(slices.Clone(doc.Beside), m.file) {
		besides = append(besides, readBeside{in.Path, in.SHA256})
	}
	said, err := json.Marshal(struct {
		Version    string       `json:"version"`
		Inputs     []read       `json:"inputs"`
		Beside     []readBeside `json:"inputs_beside"` // the map itself is the last
		Levels     []float64    `json:"levels"`
		Confidence float64      `json:"confidence"`
		NotOnMap   []string     `json:"areas_not_on_map"`
		Without    int          `json:"features_without_result"`
		LeftOut    int          `json:"homes_left_out"`
		Says       []string     `json:"says"`
	}{version, inputs, besides, doc.Levels, doc.Confidence, m.missing(byArea), without, len(doc.LeftOut), append([]string{notForPublishing}, doc.After...)})
	if err != nil {
		return nil, err
	}
	members := slices.Clone(m.members)
	members[m.at].value = listOf(features)
	members = slices.DeleteFunc(members, func(x member) bool { return x.name == "radonyear" })
	text, err = objectOf(append(members, member{"radonyear", said}))
	return append(text, '\n'), err
}

// published is a map made anew of what may leave: of each feature its shape and its
// area's name, and what was published of that. An area that is told only together with
// others has the figures of them all, its kind says "merged", and together names the row.
func (m *areaMap) published(pub survey.Published, doc report.Document) (text []byte, missing []string, err error) {
	rows, err := doc.Flat()
	if err != nil {
		return nil, nil, err
	}
	for i := range rows {
		at := slices.IndexFunc(rows[i], func(f report.Field) bool { return f.Name == "area" })
		rows[i][at].Name = "row" // of merged areas it is not the feature's own name
	}
	byArea := map[string][]report.Field{}
	var others []report.Field
	for i, r := range pub.Areas { // after the community, in the same order
		if r.Merged {
			others = rows[1+i]
			for _, name := range pub.Together {
				byArea[name] = others
			}
		} else {
			byArea[r.Name] = rows[1+i]
		}
	}
	var features []json.RawMessage
	for i, f := range m.features {
		shape, err := shapeOf(f)
		if err != nil {
			return nil, nil, hinted{fmt.Errorf("%s: feature %d: %w", m.path, i+1, err), "give a map of the areas alone"}
		}
		var properties []member
		if f.area != "" {
			key := slices.IndexFunc(f.properties, func(x member) bool { return x.name == m.key })
			properties = append(properties, f.properties[key]) // text or number, as it stands
			if row, ok := byArea[f.area]; ok {
				found, err := m.resultsOf(row)
				if err != nil {
					return nil, nil, err
				}
				properties = append(properties, found...)
			}
		}
		inner, err := objectOf(properties)
		if err != nil {
			return nil, nil, err
		}
		whole, err := objectOf([]member{{"type", json.RawMessage(`"Feature"`)}, {"geometry", shape}, {"properties", inner}})
		if err != nil {
			return nil, nil, err
		}
		features = append(features, whole)
	}
	// Of a merged area that is not on the map nothing is said by name.
	named := map[string][]report.Field{}
	for _, r := range pub.Areas {
		if !r.Merged {
			named[r.Name] = nil
		}
	}
	missing = m.missing(named)
	object := func(row []report.Field) (json.RawMessage, error) {
		if row == nil {
			return json.RawMessage("null"), nil
		}
		found, err := m.resultsOf(row)
		if err != nil {
			return nil, err
		}
		return objectOf(found)
	}
	community, err := object(rows[0])
	if err != nil {
		return nil, nil, err
	}
	merged, err := object(others)
	if err != nil {
		return nil, nil, err
	}
	says := slices.Clone(doc.After)
	switch {
	case pub.Together != nil:
		says = append(says, fmt.Sprintf("Areas whose kind is merged have too few homes to be told by themselves: they all have the figures of %q, which are of no one of them.", survey.Others))
	case others != nil:
		says = append(says, fmt.Sprintf("Which areas stand together as %q is not told, since that would tell how few homes each has.", survey.Others))
	}
	said, err := json.Marshal(struct {
		Version    string          `json:"version"`
		Published  bool            `json:"published"`
		MinCell    int             `json:"min_cell"`
		Levels     []float64       `json:"levels"`
		Confidence float64         `json:"confidence"`
		Community  json.RawMessage `json:"community"`
		Others     json.RawMessage `json:"others"`
		NotOnMap   []string        `json:"areas_not_on_map"`
		Says       []string        `json:"says"`
	}{version, true, pub.MinCell, doc.Levels, doc.Confidence, community, merged, missing, says})
	if err != nil {
		return nil, nil, err
	}
	text, err = objectOf([]member{{"type", json.RawMessage(`"FeatureCollection"`)}, {"features", listOf(features)}, {"radonyear", said}})
	return append(text, '\n'), missing, err
}

// shapeOf is a feature's geometry without anything beside it. A point may be a home's.
func shapeOf(f feature) (json.RawMessage, error) {
	at := slices.IndexFunc(f.members, func(x member) bool { return x.name == "geometry" })
	if at < 0 || string(bytes.TrimSpace(f.members[at].value)) == "null" {
		return json.RawMessage("null"), nil
	}
	members, err := membersOf(f.members[at].value)
	if err != nil {
		return nil, errors.New("its geometry is no object")
	}
	kind := textOf(members, "type")
	if kind != "Polygon" && kind != "MultiPolygon" {
		return nil, fmt.Errorf("a map to publish holds areas, and its geometry is a %q, not a Polygon or MultiPolygon", kind)
	}
	var polygon [][][]float64
	var several [][][][]float64
	for _, x := range members {
		var coordinates any
		switch {
		case x.name != "coordinates":
			continue
		case kind == "Polygon" && json.Unmarshal(x.value, &polygon) == nil && places(polygon):
			coordinates = polygon
		case kind == "MultiPolygon" && json.Unmarshal(x.value, &several) == nil && len(several) > 0 && !slices.ContainsFunc(several, func(p [][][]float64) bool { return !places(p) }):
			coordinates = several
		default:
			continue
		}
		value, err := json.Marshal(coordinates)
		if err != nil {
			return nil, err
		}
		return objectOf([]member{{"type", json.RawMessage(strconv.Quote(kind))}, {"coordinates", value}})
	}
	return nil, fmt.Errorf("its %s has no coordinates that can be read", kind)
}

// places says whether a polygon has rings, of positions, of which it leaves two numbers:
// others may hold anything.
func places(polygon [][][]float64) bool {
	for _, ring := range polygon {
		for i, position := range ring {
			if len(position) < 2 {
				return false
			}
			ring[i] = position[:2]
		}
		if len(ring) < 4 { // RFC 7946, 3.1.6
			return false
		}
	}
	return len(polygon) > 0
}

// listOf writes values as a list, each on a line of its own.
func listOf(values []json.RawMessage) json.RawMessage {
	b := []byte("[")
	for i, v := range values {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(append(b, '\n'), v...)
	}
	return append(b, "\n]"...)
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
	byArea, err := m.results(doc)
	if err != nil {
		return err
	}
	text, err := m.with(doc, byArea)
	if err != nil {
		return err
	}
	missing := m.missing(byArea)
	if len(missing) == len(byArea) {
		return m.nowhere(missing)
	}
	if err := p.writeMap(c, text); err != nil {
		return err
	}
	fmt.Fprintln(p.stderr, "radonyear: hint: this map is not for publishing; with --publish it is")
	return errors.Join(p.partial(doc), p.notOnMap(m, missing))
}

// emitPublishedMap writes the map of what may be published.
func (p *program) emitPublishedMap(c *cli.Context, m *areaMap, pub survey.Published, doc report.Document) error {
	if pub.Areas == nil {
		return hinted{errors.New("too few homes to tell areas apart, so that a map has nothing to show"), "measure more homes; --format table tells all homes together"}
	}
	text, missing, err := m.published(pub, doc)
	if err != nil {
		return err
	}
	named := slices.DeleteFunc(slices.Clone(pub.Areas), func(r survey.PublishedRow) bool { return r.Merged })
	onMap := func(name string) bool {
		return slices.ContainsFunc(m.features, func(f feature) bool { return f.area == name })
	}
	if len(missing) == len(named) && !slices.ContainsFunc(pub.Together, onMap) {
		return m.nowhere(missing)
	}
	if err := p.writeMap(c, text); err != nil {
		return err
	}
	return p.notOnMap(m, missing)
}

// nowhere is the error of a map on which no area is.
func (m *areaMap) nowhere(missing []string) error {
	return hinted{fmt.Errorf("no area of the homes is on the map %s by %s: %s", m.path, m.key, firstFew(quoted(missing))), "another --map-key, or names written alike in both"}
}

func (p *program) writeMap(c *cli.Context, text []byte) error {
	if path := c.String("output"); path != "" && path != "-" {
		return replaceFile(path, text)
	}
	_, err := p.stdout.Write(text)
	return writing("standard output", err)
}

// notOnMap says which areas the map has no feature for.
func (p *program) notOnMap(m *areaMap, missing []string) error {
	if len(missing) == 0 {
		return nil
	}
	fmt.Fprintf(p.stderr, "radonyear: skipped: %s not on the map by %s: %s\n", count(len(missing), "area"), m.key, report.Plain(firstFew(quoted(missing))))
	return errPartial
}

func quoted(names []string) (out []string) {
	for _, name := range names {
		out = append(out, strconv.Quote(name))
	}
	return out
}
