package store

import (
	"time"

	"benchbell/core"
)

// The records of what facts are made of. Where a record has the very fields of
// its core type, one is converted to the other, so that a field added to core
// is an error of the compiler here; for the others a test says what is missing.

type personRecord struct {
	ID   string `json:"id,omitempty"`
	Name string `json:"name,omitempty"`
}

type writtenRecord struct {
	Digits string           `json:"digits"`
	Unit   coded[core.Unit] `json:"unit,omitzero"`
}

func recordWritten(w core.Written) writtenRecord {
	return writtenRecord{Digits: w.Digits, Unit: code(w.Unit)}
}

func (r writtenRecord) written() core.Written {
	return core.Written{Digits: r.Digits, Unit: r.Unit.is}
}

type suitRecord struct {
	Tag       string         `json:"tag"`
	Serial    string         `json:"serial,omitempty"`
	Maker     string         `json:"maker,omitempty"`
	Model     string         `json:"model,omitempty"`
	Material  string         `json:"material,omitempty"`
	Size      string         `json:"size,omitempty"`
	Place     string         `json:"place,omitempty"`
	Made      core.Date      `json:"made,omitzero"`
	Purchased core.Date      `json:"purchased,omitzero"`
	InService core.Date      `json:"in_service,omitzero"`
	EndOfLife core.Date      `json:"end_of_life,omitzero"`
	Fittings  fittingsRecord `json:"fittings"`
	Method    string         `json:"method,omitempty"`
	Interval  core.Period    `json:"interval,omitzero"`
	MakerA    writtenRecord  `json:"maker_a,omitzero"`
	MakerB    writtenRecord  `json:"maker_b,omitzero"`
	Remarks   string         `json:"remarks,omitempty"`
	Volume    volumeRecord   `json:"volume,omitzero"`
	Capacity  capacityRecord `json:"capacity,omitzero"`
}

type volumeRecord struct {
	Litres string `json:"litres,omitempty"`
	Off    string `json:"off,omitempty"`
}

type capacityRecord struct {
	Day    core.Date     `json:"day,omitzero"`
	Litres string        `json:"litres,omitempty"`
	From   writtenRecord `json:"from,omitzero"`
	To     writtenRecord `json:"to,omitzero"`
	Step   writtenRecord `json:"step,omitzero"`

	Manometer string        `json:"manometer,omitempty"`
	By        personRecord  `json:"by,omitzero"`
	Room      writtenRecord `json:"room,omitzero"`
	Fell      core.Pressure `json:"fell_npa,omitempty"`
	FellU     core.Pressure `json:"fell_u_npa,omitempty"`
}

func recordCapacity(c core.Capacity) capacityRecord {
	return capacityRecord{
		Day: c.Day, Litres: c.Litres,
		From: recordWritten(c.From), To: recordWritten(c.To), Step: recordWritten(c.Step),
		Manometer: c.Manometer, By: personRecord(c.By), Room: recordWritten(c.Room), Fell: c.Fell, FellU: c.FellU,
	}
}

func (r capacityRecord) capacity() core.Capacity {
	return core.Capacity{
		Day: r.Day, Litres: r.Litres,
		From: r.From.written(), To: r.To.written(), Step: r.Step.written(),
		Manometer: r.Manometer, By: core.Person(r.By), Room: r.Room.written(), Fell: r.Fell, FellU: r.FellU,
	}
}

func recordSuit(s core.Suit) suitRecord {
	return suitRecord{
		Tag: s.Tag, Serial: s.Serial, Maker: s.Maker, Model: s.Model, Material: s.Material,
		Size: s.Size, Place: s.Place,
		Made: s.Made, Purchased: s.Purchased, InService: s.InService, EndOfLife: s.EndOfLife,
		Fittings: recordFittings(s.Fittings),
		Method:   s.Method, Interval: s.Interval,
		MakerA: recordWritten(s.MakerA), MakerB: recordWritten(s.MakerB),
		Remarks: s.Remarks, Volume: volumeRecord(s.Volume), Capacity: recordCapacity(s.Capacity),
	}
}

func (r suitRecord) suit() core.Suit {
	return core.Suit{
		Tag: r.Tag, Serial: r.Serial, Maker: r.Maker, Model: r.Model, Material: r.Material,
		Size: r.Size, Place: r.Place,
		Made: r.Made, Purchased: r.Purchased, InService: r.InService, EndOfLife: r.EndOfLife,
		Fittings: r.Fittings.fittings(),
		Method:   r.Method, Interval: r.Interval,
		MakerA: r.MakerA.written(), MakerB: r.MakerB.written(),
		Remarks: r.Remarks, Volume: core.Volume(r.Volume), Capacity: r.Capacity.capacity(),
	}
}

type fittingsRecord struct {
	GloveRings       bool              `json:"glove_rings,omitempty"`
	ExhaustValves    int               `json:"exhaust_valves,omitempty"`
	VentilatingValve bool              `json:"ventilating_valve,omitempty"`
	PassThrough      bool              `json:"pass_through,omitempty"`
	Boots            coded[core.Boots] `json:"boots,omitzero"`
}

func recordFittings(f core.Fittings) fittingsRecord {
	return fittingsRecord{
		GloveRings: f.GloveRings, ExhaustValves: f.ExhaustValves,
		VentilatingValve: f.VentilatingValve, PassThrough: f.PassThrough, Boots: code(f.Boots),
	}
}

func (r fittingsRecord) fittings() core.Fittings {
	return core.Fittings{
		GloveRings: r.GloveRings, ExhaustValves: r.ExhaustValves,
		VentilatingValve: r.VentilatingValve, PassThrough: r.PassThrough, Boots: r.Boots.is,
	}
}

type manometerRecord struct {
	ID              string           `json:"id"`
	Maker           string           `json:"maker,omitempty"`
	Serial          string           `json:"serial,omitempty"`
	Unit            coded[core.Unit] `json:"unit,omitzero"`
	Resolution      writtenRecord    `json:"resolution,omitzero"`
	Permissible     writtenRecord    `json:"permissible,omitzero"`
	CalibratedOn    core.Date        `json:"calibrated_on,omitzero"`
	Interval        core.Period      `json:"interval,omitzero"`
	CalibratedUntil core.Date        `json:"calibrated_until,omitzero"`
}

func recordManometer(m core.Manometer) manometerRecord {
	return manometerRecord{
		ID: m.ID, Maker: m.Maker, Serial: m.Serial, Unit: code(m.Unit), Resolution: recordWritten(m.Resolution),
		Permissible: recordWritten(m.Permissible), CalibratedOn: m.CalibratedOn, Interval: m.Interval,
		CalibratedUntil: m.CalibratedUntil,
	}
}

func (r manometerRecord) manometer() core.Manometer {
	return core.Manometer{
		ID: r.ID, Maker: r.Maker, Serial: r.Serial, Unit: r.Unit.is, Resolution: r.Resolution.written(),
		Permissible: r.Permissible.written(), CalibratedOn: r.CalibratedOn, Interval: r.Interval,
		CalibratedUntil: r.CalibratedUntil,
	}
}

type methodRecord struct {
	Key           string             `json:"key"`
	Title         string             `json:"title,omitempty"`
	Source        string             `json:"source,omitempty"`
	Unit          coded[core.Unit]   `json:"unit,omitzero"`
	Expansion     settingRecord      `json:"expansion"`
	ExpansionTime time.Duration      `json:"expansion_ns"`
	Test          settingRecord      `json:"test"`
	Hold          time.Duration      `json:"hold_ns"`
	Limit         limitRecord        `json:"limit"`
	MakerSets     bool               `json:"maker_sets,omitempty"`
	MakerMargin   writtenRecord      `json:"maker_margin,omitzero"`
	Provenance    []provenanceRecord `json:"provenance,omitempty"`
}

func recordMethod(m core.Method) methodRecord {
	return methodRecord{
		Key: m.Key, Title: m.Title, Source: m.Source, Unit: code(m.Unit),
		Expansion: recordSetting(m.Expansion), ExpansionTime: m.ExpansionTime,
		Test: recordSetting(m.Test), Hold: m.Hold, Limit: recordLimit(m.Limit),
		MakerSets: m.MakerSets, MakerMargin: recordWritten(m.MakerMargin),
		Provenance: each(m.Provenance, recordProvenance),
	}
}

func (r methodRecord) method() core.Method {
	return core.Method{
		Key: r.Key, Title: r.Title, Source: r.Source, Unit: r.Unit.is,
		Expansion: r.Expansion.setting(), ExpansionTime: r.ExpansionTime,
		Test: r.Test.setting(), Hold: r.Hold, Limit: r.Limit.limit(),
		MakerSets: r.MakerSets, MakerMargin: r.MakerMargin.written(),
		Provenance: each(r.Provenance, provenanceRecord.provenance),
	}
}

type settingRecord struct {
	Target writtenRecord `json:"target"`
	Low    core.Pressure `json:"low_npa"`
	High   core.Pressure `json:"high_npa"`
}

func recordSetting(s core.Setting) settingRecord {
	return settingRecord{Target: recordWritten(s.Target), Low: s.Low, High: s.High}
}

func (r settingRecord) setting() core.Setting {
	return core.Setting{Target: r.Target.written(), Low: r.Low, High: r.High}
}

type limitRecord struct {
	Drop    writtenRecord `json:"drop,omitzero"`
	Floor   writtenRecord `json:"floor,omitzero"`
	Nominal writtenRecord `json:"nominal,omitzero"`
	Num     int64         `json:"num,omitempty"`
	Den     int64         `json:"den,omitempty"`
}

func recordLimit(l core.Limit) limitRecord {
	return limitRecord{Drop: recordWritten(l.Drop), Floor: recordWritten(l.Floor), Nominal: recordWritten(l.Nominal), Num: l.Num, Den: l.Den}
}

func (r limitRecord) limit() core.Limit {
	return core.Limit{Drop: r.Drop.written(), Floor: r.Floor.written(), Nominal: r.Nominal.written(), Num: r.Num, Den: r.Den}
}

type provenanceRecord struct {
	What      string                `json:"what"`
	Source    string                `json:"source,omitempty"`
	Certainty coded[core.Certainty] `json:"certainty,omitzero"`
}

func recordProvenance(p core.Provenance) provenanceRecord {
	return provenanceRecord{What: p.What, Source: p.Source, Certainty: code(p.Certainty)}
}

func (r provenanceRecord) provenance() core.Provenance {
	return core.Provenance{What: r.What, Source: r.Source, Certainty: r.Certainty.is}
}

type itemRecord struct {
	Task   coded[core.Task] `json:"task,omitzero"`
	Count  int              `json:"count,omitempty"`
	Closes bool             `json:"closes,omitempty"`
}

func recordItem(i core.Item) itemRecord {
	return itemRecord{Task: code(i.Task), Count: i.Count, Closes: i.Closes}
}

func (r itemRecord) item() core.Item {
	return core.Item{Task: r.Task.is, Count: r.Count, Closes: r.Closes}
}

type readingRecord struct {
	N         int             `json:"n"`
	Written   writtenRecord   `json:"written"`
	Posted    moment          `json:"posted,omitzero"`
	Taken     moment          `json:"taken,omitzero"`
	Stated    bool            `json:"stated,omitempty"`
	By        personRecord    `json:"by,omitzero"`
	Post      string          `json:"post,omitempty"`
	Manometer string          `json:"manometer,omitempty"`
	Was       []writtenRecord `json:"was,omitempty"`
}

func recordReading(r core.Reading) readingRecord {
	return readingRecord{
		N: r.N, Written: recordWritten(r.Written), Posted: moment(r.Posted), Taken: moment(r.Taken),
		Stated: r.Stated, By: personRecord(r.By), Post: r.Post, Manometer: r.Manometer,
		Was: each(r.Was, recordWritten),
	}
}

func (r readingRecord) reading() core.Reading {
	return core.Reading{
		N: r.N, Written: r.Written.written(), Posted: time.Time(r.Posted), Taken: time.Time(r.Taken),
		Stated: r.Stated, By: core.Person(r.By), Post: r.Post, Manometer: r.Manometer,
		Was: each(r.Was, writtenRecord.written),
	}
}

type verdictRecord struct {
	Outcome    coded[core.Outcome] `json:"outcome,omitzero"`
	Reason     coded[core.Reason]  `json:"reason,omitzero"`
	Method     string              `json:"method,omitempty"`
	Start      readingRecord       `json:"start,omitzero"`
	End        readingRecord       `json:"end,omitzero"`
	Drop       core.Pressure       `json:"drop_npa,omitempty"`
	Allowed    core.Pressure       `json:"allowed_npa,omitempty"`
	Bell       moment              `json:"bell,omitzero"`
	AtBellLow  core.Pressure       `json:"at_bell_low_npa,omitempty"`
	AtBellHigh core.Pressure       `json:"at_bell_high_npa,omitempty"`
	Defect     string              `json:"defect,omitempty"`

	Rule       coded[core.Acceptance] `json:"rule,omitzero"`
	Expanded   core.Pressure          `json:"expanded_npa,omitempty"`
	Guard      core.Pressure          `json:"guard_npa,omitempty"`
	Conforms   float64                `json:"conforms,omitempty"`
	AirRaised  core.Pressure          `json:"air_raised_npa,omitempty"`
	AirLowered core.Pressure          `json:"air_lowered_npa,omitempty"`
	Rules      int                    `json:"rules,omitempty"`
}

func recordVerdict(v core.Verdict) verdictRecord {
	return verdictRecord{
		Outcome: code(v.Outcome), Reason: code(v.Reason), Method: v.Method,
		Start: recordReading(v.Start), End: recordReading(v.End),
		Drop: v.Drop, Allowed: v.Allowed, Bell: moment(v.Bell),
		AtBellLow: v.AtBellLow, AtBellHigh: v.AtBellHigh, Defect: v.Defect,
		Rule: code(v.Rule), Expanded: v.Expanded, Guard: v.Guard, Conforms: v.Conforms, AirRaised: v.AirRaised, AirLowered: v.AirLowered, Rules: v.Rules,
	}
}

func (r verdictRecord) verdict() core.Verdict {
	return core.Verdict{
		Outcome: r.Outcome.is, Reason: r.Reason.is, Method: r.Method,
		Start: r.Start.reading(), End: r.End.reading(),
		Drop: r.Drop, Allowed: r.Allowed, Bell: time.Time(r.Bell),
		AtBellLow: r.AtBellLow, AtBellHigh: r.AtBellHigh, Defect: r.Defect,
		Rule: r.Rule.is, Expanded: r.Expanded, Guard: r.Guard, Conforms: r.Conforms, AirRaised: r.AirRaised, AirLowered: r.AirLowered, Rules: r.Rules,
	}
}

type linkRecord struct {
	To    coded[core.Linked] `json:"to,omitzero"`
	N     int                `json:"n,omitempty"`
	Phase coded[core.Phase]  `json:"phase,omitzero"`
}

func recordLink(l core.Link) linkRecord {
	return linkRecord{To: code(l.To), N: l.N, Phase: code(l.Phase)}
}

func (r linkRecord) link() core.Link {
	return core.Link{To: r.To.is, N: r.N, Phase: r.Phase.is}
}

// sumRecord is a SHA-256 in hexadecimal digits.
type sumRecord core.Sum

// MarshalText writes the digits.
func (s sumRecord) MarshalText() ([]byte, error) { return []byte(core.Sum(s).String()), nil }

// UnmarshalText reads them.
func (s *sumRecord) UnmarshalText(text []byte) error {
	sum, err := core.ParseSum(string(text))
	*s = sumRecord(sum)
	return err
}
