package store

import (
	"encoding/json"
	"reflect"
	"time"

	"benchbell/core"
)

// kind is how one type of fact stands on disk.
type kind struct {
	name   string // in the record; never changes
	fact   reflect.Type
	record func(core.Fact) any
	read   func(json.RawMessage) (core.Fact, error)
}

// kindOf makes a kind of the functions that turn a fact into its record and
// back.
func kindOf[F core.Fact, R any](name string, record func(F) R, fact func(R) F) kind {
	return kind{
		name:   name,
		fact:   reflect.TypeFor[F](),
		record: func(f core.Fact) any { return record(f.(F)) },
		read: func(data json.RawMessage) (core.Fact, error) {
			var r R
			if err := unmarshal(data, &r); err != nil {
				return nil, err
			}
			return fact(r), nil
		},
	}
}

// The records that several facts share.
type (
	nothingRecord struct{}
	whatRecord    struct {
		What string `json:"what,omitempty"`
	}
	whyRecord struct {
		Why string `json:"why,omitempty"`
	}
	textRecord struct {
		Text     string `json:"text,omitempty"`
		Recalled bool   `json:"recalled,omitempty"`
	}
	readingNumberRecord struct {
		N int `json:"n"`
	}
)

// The records of the other facts, where they are not simply that of a part.
type (
	usedRecord struct {
		When moment `json:"when,omitzero"`
		Note string `json:"note,omitempty"`
	}
	paperTestRecord struct {
		Day       core.Date           `json:"day,omitzero"`
		Method    string              `json:"method,omitempty"`
		Manometer string              `json:"manometer,omitempty"`
		Start     writtenRecord       `json:"start,omitzero"`
		End       writtenRecord       `json:"end,omitzero"`
		Hold      time.Duration       `json:"hold_ns,omitempty"`
		Tester    string              `json:"tester,omitempty"`
		Outcome   coded[core.Outcome] `json:"outcome,omitzero"`
		Reason    coded[core.Reason]  `json:"reason,omitzero"`
		Remedy    string              `json:"remedy,omitempty"`
		Rules     int                 `json:"rules,omitempty"`
	}
	repairedRecord struct {
		What string `json:"what,omitempty"`
		Of   []int  `json:"of,omitempty"`
	}
	openedRecord struct {
		Suit      suitRecord      `json:"suit"`
		Method    methodRecord    `json:"method"`
		Manometer manometerRecord `json:"manometer"`
		Prepare   []itemRecord    `json:"prepare,omitempty"`
		Restore   []itemRecord    `json:"restore,omitempty"`
	}
	tickedRecord struct {
		Items []int `json:"items,omitempty"`
		ByTap bool  `json:"by_tap,omitempty"`
	}
	untickedRecord struct {
		Items []int `json:"items,omitempty"`
	}
	defectSeenRecord struct {
		Item int    `json:"item"`
		What string `json:"what,omitempty"`
	}
	questionedRecord struct {
		Reading readingRecord    `json:"reading"`
		Perhaps coded[core.Unit] `json:"perhaps,omitzero"`
	}
	correctedRecord struct {
		N       int           `json:"n"`
		Written writtenRecord `json:"written"`
	}
	rungRecord struct {
		Bell  coded[core.Bell] `json:"bell,omitzero"`
		Due   moment           `json:"due,omitzero"`
		Quiet bool             `json:"quiet,omitempty"`
	}
	handedOverRecord struct {
		ID   string               `json:"id,omitempty"`
		Name string               `json:"name,omitempty"`
		Why  coded[core.Takeover] `json:"why,omitzero"` // absent if the tester did it
	}
	leakFoundRecord struct {
		Where string `json:"where,omitempty"`
	}
	airAddedRecord struct {
		Litres string `json:"litres,omitempty"`
	}
	meteringLeftRecord struct {
		TooHigh writtenRecord `json:"too_high,omitzero"`
	}
	airNotedRecord struct {
		Celsius string `json:"celsius,omitempty"`
	}
	photoPostedRecord struct {
		File    string     `json:"file"`
		Name    string     `json:"name,omitempty"`
		Size    int64      `json:"size,omitempty"`
		Caption string     `json:"caption,omitempty"`
		With    linkRecord `json:"with"`
	}
	photoKeptRecord struct {
		File string    `json:"file"`
		Type string    `json:"type,omitempty"`
		Sum  sumRecord `json:"sum"`
	}
	photoLostRecord struct {
		File string           `json:"file"`
		Why  coded[core.Loss] `json:"why,omitzero"`
	}
)

// kinds has every type of fact.
var kinds = []kind{
	kindOf("suit_registered",
		func(f core.SuitRegistered) suitRecord { return recordSuit(f.Suit) },
		func(r suitRecord) core.SuitRegistered { return core.SuitRegistered{Suit: r.suit()} }),
	kindOf("manometer_registered",
		func(f core.ManometerRegistered) manometerRecord { return recordManometer(f.Manometer) },
		func(r manometerRecord) core.ManometerRegistered {
			return core.ManometerRegistered{Manometer: r.manometer()}
		}),

	kindOf("used",
		func(f core.Used) usedRecord { return usedRecord{When: moment(f.When), Note: f.Note} },
		func(r usedRecord) core.Used { return core.Used{When: time.Time(r.When), Note: r.Note} }),
	kindOf("repaired",
		func(f core.Repaired) repairedRecord { return repairedRecord(f) },
		func(r repairedRecord) core.Repaired { return core.Repaired(r) }),
	kindOf("cause_stated",
		func(f core.CauseStated) whatRecord { return whatRecord(f) },
		func(r whatRecord) core.CauseStated { return core.CauseStated(r) }),
	kindOf("reinstated",
		func(f core.Reinstated) whyRecord { return whyRecord(f) },
		func(r whyRecord) core.Reinstated { return core.Reinstated(r) }),
	kindOf("found",
		func(f core.Found) whatRecord { return whatRecord(f) },
		func(r whatRecord) core.Found { return core.Found(r) }),
	kindOf("withdrawn",
		func(f core.Withdrawn) whyRecord { return whyRecord(f) },
		func(r whyRecord) core.Withdrawn { return core.Withdrawn(r) }),
	kindOf("retired",
		func(f core.Retired) whyRecord { return whyRecord(f) },
		func(r whyRecord) core.Retired { return core.Retired(r) }),
	kindOf("released",
		func(f core.Released) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.Released { return core.Released(r) }),
	kindOf("capacity_measured",
		func(f core.CapacityMeasured) capacityRecord { return recordCapacity(f.Capacity) },
		func(r capacityRecord) core.CapacityMeasured { return core.CapacityMeasured{Capacity: r.capacity()} }),
	kindOf("paper_test", recordPaperTest, paperTestRecord.paperTest),

	kindOf("opened", recordOpened, openedRecord.opened),
	kindOf("ticked",
		func(f core.Ticked) tickedRecord { return tickedRecord(f) },
		func(r tickedRecord) core.Ticked { return core.Ticked(r) }),
	kindOf("unticked",
		func(f core.Unticked) untickedRecord { return untickedRecord(f) },
		func(r untickedRecord) core.Unticked { return core.Unticked(r) }),
	kindOf("defect_seen",
		func(f core.DefectSeen) defectSeenRecord { return defectSeenRecord(f) },
		func(r defectSeenRecord) core.DefectSeen { return core.DefectSeen(r) }),
	kindOf("taken",
		func(f core.Taken) readingRecord { return recordReading(f.Reading) },
		func(r readingRecord) core.Taken { return core.Taken{Reading: r.reading()} }),
	kindOf("questioned",
		func(f core.Questioned) questionedRecord {
			return questionedRecord{Reading: recordReading(f.Reading), Perhaps: code(f.Perhaps)}
		},
		func(r questionedRecord) core.Questioned {
			return core.Questioned{Reading: r.Reading.reading(), Perhaps: r.Perhaps.is}
		}),
	kindOf("corrected",
		func(f core.Corrected) correctedRecord {
			return correctedRecord{N: f.N, Written: recordWritten(f.Written)}
		},
		func(r correctedRecord) core.Corrected {
			return core.Corrected{N: r.N, Written: r.Written.written()}
		}),
	kindOf("expansion_started",
		func(f core.ExpansionStarted) readingNumberRecord { return readingNumberRecord(f) },
		func(r readingNumberRecord) core.ExpansionStarted { return core.ExpansionStarted(r) }),
	kindOf("expansion_void",
		func(f core.ExpansionVoid) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.ExpansionVoid { return core.ExpansionVoid(r) }),
	kindOf("hold_started",
		func(f core.HoldStarted) readingNumberRecord { return readingNumberRecord(f) },
		func(r readingNumberRecord) core.HoldStarted { return core.HoldStarted(r) }),
	kindOf("hold_void",
		func(f core.HoldVoid) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.HoldVoid { return core.HoldVoid(r) }),
	kindOf("hold_resumed",
		func(f core.HoldResumed) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.HoldResumed { return core.HoldResumed(r) }),
	kindOf("rung",
		func(f core.Rung) rungRecord {
			return rungRecord{Bell: code(f.Bell), Due: moment(f.Due), Quiet: f.Quiet}
		},
		func(r rungRecord) core.Rung {
			return core.Rung{Bell: r.Bell.is, Due: time.Time(r.Due), Quiet: r.Quiet}
		}),
	kindOf("judged",
		func(f core.Judged) verdictRecord { return recordVerdict(f.Verdict) },
		func(r verdictRecord) core.Judged { return core.Judged{Verdict: r.verdict()} }),
	kindOf("stopped",
		func(f core.Stopped) whyRecord { return whyRecord(f) },
		func(r whyRecord) core.Stopped { return core.Stopped(r) }),
	kindOf("again",
		func(f core.Again) whyRecord { return whyRecord(f) },
		func(r whyRecord) core.Again { return core.Again(r) }),
	kindOf("none_fitted",
		func(f core.NoneFitted) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.NoneFitted { return core.NoneFitted(r) }),
	kindOf("handed_over",
		func(f core.HandedOver) handedOverRecord {
			return handedOverRecord{ID: f.To.ID, Name: f.To.Name, Why: code(f.Why)}
		},
		func(r handedOverRecord) core.HandedOver {
			return core.HandedOver{To: core.Person{ID: r.ID, Name: r.Name}, Why: r.Why.is}
		}),
	kindOf("manometer_chosen",
		func(f core.ManometerChosen) manometerRecord { return recordManometer(f.Manometer) },
		func(r manometerRecord) core.ManometerChosen {
			return core.ManometerChosen{Manometer: r.manometer()}
		}),
	kindOf("air_noted",
		func(f core.AirNoted) airNotedRecord { return airNotedRecord(f) },
		func(r airNotedRecord) core.AirNoted { return core.AirNoted(r) }),
	kindOf("baro_noted",
		func(f core.BaroNoted) writtenRecord { return recordWritten(f.Written) },
		func(r writtenRecord) core.BaroNoted { return core.BaroNoted{Written: r.written()} }),
	kindOf("metering_begun",
		func(f core.MeteringBegun) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.MeteringBegun { return core.MeteringBegun(r) }),
	kindOf("metering_read",
		func(f core.MeteringRead) readingRecord { return recordReading(f.Reading) },
		func(r readingRecord) core.MeteringRead { return core.MeteringRead{Reading: r.reading()} }),
	kindOf("air_added",
		func(f core.AirAdded) airAddedRecord { return airAddedRecord(f) },
		func(r airAddedRecord) core.AirAdded { return core.AirAdded(r) }),
	kindOf("metering_corrected",
		func(f core.MeteringCorrected) correctedRecord {
			return correctedRecord{N: f.N, Written: recordWritten(f.Written)}
		},
		func(r correctedRecord) core.MeteringCorrected {
			return core.MeteringCorrected{N: r.N, Written: r.Written.written()}
		}),
	kindOf("metering_left",
		func(f core.MeteringLeft) meteringLeftRecord {
			return meteringLeftRecord{TooHigh: recordWritten(f.TooHigh)}
		},
		func(r meteringLeftRecord) core.MeteringLeft {
			return core.MeteringLeft{TooHigh: r.TooHigh.written()}
		}),
	kindOf("leak_found",
		func(f core.LeakFound) leakFoundRecord { return leakFoundRecord(f) },
		func(r leakFoundRecord) core.LeakFound { return core.LeakFound(r) }),
	kindOf("noted",
		func(f core.Noted) textRecord { return textRecord(f) },
		func(r textRecord) core.Noted { return core.Noted(r) }),
	kindOf("photo_posted",
		func(f core.PhotoPosted) photoPostedRecord {
			return photoPostedRecord{File: f.File, Name: f.Name, Size: f.Size, Caption: f.Caption, With: recordLink(f.With)}
		},
		func(r photoPostedRecord) core.PhotoPosted {
			return core.PhotoPosted{File: r.File, Name: r.Name, Size: r.Size, Caption: r.Caption, With: r.With.link()}
		}),
	kindOf("photo_kept",
		func(f core.PhotoKept) photoKeptRecord {
			return photoKeptRecord{File: f.File, Type: f.Type, Sum: sumRecord(f.Sum)}
		},
		func(r photoKeptRecord) core.PhotoKept {
			return core.PhotoKept{File: r.File, Type: r.Type, Sum: core.Sum(r.Sum)}
		}),
	kindOf("photo_lost",
		func(f core.PhotoLost) photoLostRecord { return photoLostRecord{File: f.File, Why: code(f.Why)} },
		func(r photoLostRecord) core.PhotoLost { return core.PhotoLost{File: r.File, Why: r.Why.is} }),
	kindOf("closed",
		func(f core.Closed) nothingRecord { return nothingRecord(f) },
		func(r nothingRecord) core.Closed { return core.Closed(r) }),
}

func recordPaperTest(f core.PaperTest) paperTestRecord {
	return paperTestRecord{
		Day: f.Day, Method: f.Method, Manometer: f.Manometer,
		Start: recordWritten(f.Start), End: recordWritten(f.End), Hold: f.Hold,
		Tester: f.Tester, Outcome: code(f.Outcome), Reason: code(f.Reason), Remedy: f.Remedy, Rules: f.Rules,
	}
}

func (r paperTestRecord) paperTest() core.PaperTest {
	return core.PaperTest{
		Day: r.Day, Method: r.Method, Manometer: r.Manometer,
		Start: r.Start.written(), End: r.End.written(), Hold: r.Hold,
		Tester: r.Tester, Outcome: r.Outcome.is, Reason: r.Reason.is, Remedy: r.Remedy, Rules: r.Rules,
	}
}

func recordOpened(f core.Opened) openedRecord {
	return openedRecord{
		Suit: recordSuit(f.Suit), Method: recordMethod(f.Method), Manometer: recordManometer(f.Manometer),
		Prepare: each(f.Prepare, recordItem), Restore: each(f.Restore, recordItem),
	}
}

func (r openedRecord) opened() core.Opened {
	return core.Opened{
		Suit: r.Suit.suit(), Method: r.Method.method(), Manometer: r.Manometer.manometer(),
		Prepare: each(r.Prepare, itemRecord.item), Restore: each(r.Restore, itemRecord.item),
	}
}
