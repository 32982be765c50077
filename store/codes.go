package store

import (
	"fmt"

	"benchbell/core"
)

// codes says by which word each named value of a type stands on disk. The
// words are the disk's own: core may word its values anew, a word here never
// changes, and none is used again for something else.
type codes[T comparable] map[T]string

// codebooks has the codes of every such type. The zero value of a type needs
// none: it is left out of a record.
var codebooks = []any{
	codes[core.Unit]{
		core.Mbar:  "mbar",
		core.HPa:   "hPa",
		core.Pa:    "Pa",
		core.KPa:   "kPa",
		core.MmH2O: "mmH2O",
		core.CmH2O: "cmH2O",
		core.InH2O: "inH2O",
		core.MmHg:  "mmHg",
		core.Psi:   "psi",
		core.InHg:  "inHg",
	},
	codes[core.Boots]{
		core.BootsFixed: "fixed",
		core.Socks:      "socks",
	},
	codes[core.Certainty]{
		core.FromSource:     "source",
		core.FromReport:     "report",
		core.FromMemory:     "memory",
		core.CommonPractice: "practice",
		core.OwnRule:        "own",
		core.KeepersOwn:     "keeper",
	},
	codes[core.Task]{
		core.TaskDecontaminated:  "decontaminated",
		core.TaskLookedOver:      "looked_over",
		core.TaskGlovesWhole:     "gloves_whole",
		core.TaskGloveRings:      "glove_rings",
		core.TaskInletsShut:      "inlets_shut",
		core.TaskInflationFitted: "inflation_fitted",
		core.TaskPlugsIn:         "plugs_in",
		core.TaskZipperShut:      "zipper_shut",
		core.TaskLaidOut:         "laid_out",
		core.TaskAirLimited:      "air_limited",
		core.TaskManometerReady:  "manometer_ready",
		core.TaskPlugsOut:        "plugs_out",
		core.TaskAdapterOut:      "adapter_out",
		core.TaskDiaphragms:      "diaphragms",
		core.TaskCovers:          "covers",
		core.TaskVentilatingBack: "ventilating_back",
		core.TaskPassThroughBack: "pass_through_back",
		core.TaskDried:           "dried",
		core.TaskStored:          "stored",
	},
	codes[core.Bell]{
		core.BellLook:      "look",
		core.BellExpansion: "expansion",
		core.BellWarn:      "warn",
		core.BellHold:      "hold",
		core.BellChase:     "chase",
		core.BellCard:      "card",
	},
	codes[core.Phase]{
		core.Prepare:   "prepare",
		core.Expansion: "expansion",
		core.Hold:      "hold",
		core.Restore:   "restore",
		core.Over:      "closed",
	},
	codes[core.Linked]{
		core.WithPhase:   "phase",
		core.WithReading: "reading",
		core.WithLeak:    "leak",
		core.WithDefect:  "defect",
		core.WithNote:    "note",
		core.WithList:    "list",
		core.WithAir:     "air",
	},
	codes[core.Loss]{
		core.PhotoGone:     "gone",
		core.PhotoTooLarge: "too_large",
		core.NoPhoto:       "no_photo",
	},
	codes[core.Takeover]{
		core.TakeoverByOfficer:   "officer",
		core.TakeoverDeactivated: "deactivated",
		core.TakeoverSilent:      "silent",
	},
	codes[core.Outcome]{
		core.Pass:      "pass",
		core.Fail:      "fail",
		core.NoVerdict: "no_verdict",
	},
	codes[core.Reason]{
		core.OnTime:          "on_time",
		core.ExpansionVoided: "expansion_voided",
		core.LateWithin:      "late_within",
		core.EarlyBeyond:     "early_beyond",
		core.Bracketed:       "bracketed",
		core.DefectByEye:     "defect_by_eye",
		core.LateBeyond:      "late_beyond",
		core.Rise:            "rise",
		core.Jump:            "jump",
		core.StartOutside:    "start_outside",
		core.ManometerStale:  "manometer_stale",
		core.CutShort:        "cut_short",
		core.AirHides:        "air_hides",
		core.GuardBand:       "guard_band",
		core.BeyondAtBell:    "beyond_at_bell",
		core.TooLate:         "too_late",
	},
	codes[core.Acceptance]{
		core.Simple:  "simple",
		core.Guarded: "guarded",
	},
	codes[core.StandingKind]{
		core.Fit:        "fit",
		core.FitDueSoon: "fit_due_soon",
		core.NotFit:     "not_fit",
		core.OnTheBench: "on_the_bench",
		core.OutForGood: "retired",
	},
	codes[core.BarKind]{
		core.BarReceived:    "received",
		core.BarUsed:        "used",
		core.BarRepaired:    "repaired",
		core.BarFound:       "found",
		core.BarFailed:      "failed",
		core.BarNoVerdict:   "no_verdict",
		core.BarUnfinished:  "unfinished",
		core.BarWithdrawn:   "withdrawn",
		core.BarReinstated:  "reinstated",
		core.BarOverdue:     "overdue",
		core.BarUnreleased:  "unreleased",
		core.BarRunOpen:     "run_open",
		core.BarRestore:     "restore",
		core.BarEndOfLife:   "end_of_life",
		core.BarOutOfReason: "retired",
	},
	codes[OutKind]{
		Post: "post",
		Edit: "edit",
	},
	codes[OutClass]{
		Bell:    "bell",
		Verdict: "verdict",
		Card:    "card",
		List:    "list",
		Notice:  "notice",
	},
}

// coded is a named value in a record, where it stands by its code.
type coded[T comparable] struct{ is T }

func code[T comparable](v T) coded[T] { return coded[T]{v} }

// codebook returns the codes of T.
func codebook[T comparable]() codes[T] {
	for _, book := range codebooks {
		if c, ok := book.(codes[T]); ok {
			return c
		}
	}
	return nil
}

// MarshalText writes the code.
func (c coded[T]) MarshalText() ([]byte, error) {
	word, ok := codebook[T]()[c.is]
	if !ok {
		return nil, fmt.Errorf("%T \"%v\" has no code on disk: this program cannot keep it", c.is, c.is)
	}
	return []byte(word), nil
}

// UnmarshalText reads a code.
func (c *coded[T]) UnmarshalText(text []byte) error {
	for v, word := range codebook[T]() {
		if word == string(text) {
			c.is = v
			return nil
		}
	}
	return fmt.Errorf("%T %q is not known to this program", c.is, text)
}
