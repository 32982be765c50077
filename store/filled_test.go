package store_test

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"reflect"
	"strings"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// A filling gives every field of a value something that is not zero, so that
// a field which a record lacks does not go unnoticed. What it gives depends on
// the path of the field alone, or is random.
type filling struct {
	r *rand.Rand // nil: by the path
}

// number returns a number from 1 to most.
func (f filling) number(path string, most uint64) uint64 {
	if f.r != nil {
		return f.r.Uint64N(most) + 1
	}
	h := fnv.New64a()
	h.Write([]byte(path))
	return h.Sum64()%most + 1
}

func (f filling) text(path string) string {
	if f.r == nil {
		return path
	}
	runes := []rune("aZ09 \"\\/<>&\n\t\x00\x1b\u00e9\u2028\ufffd\U0001f514")
	var s strings.Builder
	for range f.r.IntN(12) + 1 {
		s.WriteRune(runes[f.r.IntN(len(runes))])
	}
	return s.String()
}

func (f filling) fill(v reflect.Value, path string) {
	switch v.Interface().(type) {
	case time.Time:
		at := time.Unix(int64(f.number(path, 1<<32)), int64(f.number(path+"ns", 1e9-1))).UTC()
		v.Set(reflect.ValueOf(at))
		return
	case time.Duration:
		v.SetInt(int64(f.number(path, uint64(time.Hour))))
		return
	case core.Date:
		v.Set(reflect.ValueOf(day(time.January, 1).AddDays(int(f.number(path, 3000)))))
		return
	case core.Period:
		v.Set(reflect.ValueOf(core.Period{Months: int(f.number(path, 1200)), Days: int(f.number(path, 3000))}))
		return
	case core.Written:
		unit := core.InH2O
		if f.r != nil {
			unit = core.Units()[f.r.IntN(len(core.Units()))]
		}
		digits := fmt.Sprintf("%d.%d", f.number(path, 200), f.number(path+"d", 99))
		v.Set(reflect.ValueOf(core.MustWrite(digits, unit)))
		return
	}
	if values := codedValues(v.Type()); values != nil {
		v.Set(f.coded(values))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(f.text(path))
	case reflect.Bool:
		v.SetBool(f.r == nil || f.r.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(f.number(path, 1<<20)))
	case reflect.Uint8:
		v.SetUint(f.number(path, 250))
	case reflect.Uint64:
		v.SetUint(f.number(path, 1<<40))
	case reflect.Float64:
		v.SetFloat(float64(f.number(path, 1<<20)) / 1000)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), int(f.number(path, 3)), 3))
		for i := range v.Len() {
			f.fill(v.Index(i), fmt.Sprintf("%s %d", path, i+1))
		}
	case reflect.Array:
		for i := range v.Len() {
			f.fill(v.Index(i), fmt.Sprintf("%s %d", path, i+1))
		}
	case reflect.Struct:
		for i, field := range reflect.VisibleFields(v.Type()) {
			if field.IsExported() {
				f.fill(v.Field(i), strings.TrimSpace(path+" "+strings.ToLower(field.Name)))
			}
		}
	default:
		panic(fmt.Sprintf("no filling for %s of type %v", path, v.Type()))
	}
}

// examples are the values with a code that a filling by the path takes: what
// it takes must not change when core gets another value.
var examples = []any{
	core.InH2O, core.Socks, core.FromReport, core.TaskPlugsIn, core.BellHold, core.NoVerdict, core.LateBeyond,
	core.NotFit, core.BarFailed, core.Guarded, store.Post, store.Bell,
	core.Hold, core.WithReading, core.PhotoGone, core.TakeoverSilent,
}

func (f filling) coded(values []reflect.Value) reflect.Value {
	if f.r != nil {
		return values[f.r.IntN(len(values))]
	}
	for _, example := range examples {
		if v := reflect.ValueOf(example); v.Type() == values[0].Type() {
			return v
		}
	}
	panic(fmt.Sprintf("no example of a %v", values[0].Type()))
}

// codedValues returns the values of a type that stand by codes.
func codedValues(t reflect.Type) []reflect.Value {
	for _, book := range store.Codebooks {
		if codes := reflect.ValueOf(book); codes.Type().Key() == t {
			return codes.MapKeys()
		}
	}
	return nil
}

// filled returns an entry about a fact of the type, all fields filled.
func (f filling) filled(fact reflect.Type) core.Entry {
	v := reflect.New(fact).Elem()
	f.fill(v, "")
	e := core.Entry{Fact: v.Interface().(core.Fact)}
	entry := reflect.ValueOf(&e).Elem()
	for i, field := range reflect.VisibleFields(entry.Type()) {
		if field.Name != "Fact" {
			f.fill(entry.Field(i), "entry "+strings.ToLower(field.Name))
		}
	}
	return e
}
