package payload

import (
	"errors"
	"time"

	"leat/controller"
	"leat/dosing/blend"
)

// AnalysisAsk is a laboratory's analysis of a tank as sent to the daemon.
type AnalysisAsk struct {
	Analysis blend.Analysis
	Sampled  time.Time // zero = now
	Note     string
	By       string // claimed; MQTT 3.1.1 does not tell who sent
}

// ParseAnalysis reads the short list of leat blend, NO3-N=168 mg/L, K=240 mg/L, pH=5.8,
// EC=1.8 mS/cm, or the same with its circumstances:
// {"analysis":"K=240 mg/L, …","sampled":"2026-01-01T09:00:00Z","note":"…","by":"…"}.
func ParseAnalysis(body []byte) (AnalysisAsk, error) {
	if len(body) > LargestPayload {
		return AnalysisAsk{}, tooLarge(body)
	}
	text := trim(body)
	ask := AnalysisAsk{}
	list := string(text)
	if len(text) > 0 && text[0] == '{' {
		var s scanner
		root, err := s.scan(text)
		if err != nil {
			return AnalysisAsk{}, err
		}
		fields, unknown := fieldsIn(root, "analysis", "sampled", "note", "by")
		if unknown != "" {
			return AnalysisAsk{}, refuse("send analysis, and if you like sampled, note, by", "unknown key %.40q", unknown)
		}
		list = fields.sentence("analysis", longestAnalysis)
		ask.Note, ask.By = fields.optional("note", longestNote), fields.optionalName("by")
		if fields.has("sampled") {
			ask.Sampled = fields.moment("sampled")
		}
		if fields.err != nil {
			return AnalysisAsk{}, fields.err
		}
	}
	var err error
	if ask.Analysis, err = ReadAnalysis(list); err != nil {
		return AnalysisAsk{}, err
	}
	return ask, nil
}

// longestAnalysis has room for every substance with its unit.
const longestAnalysis = 2000

// ReadAnalysis reads the short list alone, as the page sends it.
func ReadAnalysis(list string) (blend.Analysis, error) {
	if len(list) > longestAnalysis {
		return blend.Analysis{}, refuse("send the ions that were measured, once each", "an analysis of %d bytes", len(list))
	}
	entries, err := blend.ReadList(list)
	if err == nil {
		var a blend.Analysis
		if a, err = blend.ReadAnalysis(entries); err == nil {
			return a, nil
		}
	}
	var fault *blend.Fault
	if errors.As(err, &fault) {
		return blend.Analysis{}, refuse(fault.Hint, "analysis: %.60q %s", fault.What, fault.Problem)
	}
	return blend.Analysis{}, refuse("send for example NO3-N=168 mg/L, K=240 mg/L, Ca=115 mg/L, pH=5.8, EC=1.8 mS/cm", "analysis: %v", err)
}

// AppendAnalysis writes an analysis as ParseAnalysis reads it.
func AppendAnalysis(dst []byte, a AnalysisAsk) []byte {
	e := object(dst)
	e.text("analysis", a.Analysis.List())
	if !a.Sampled.IsZero() {
		e.moment("sampled", a.Sampled)
	}
	e.some("note", a.Note)
	e.some("by", a.By)
	return e.end()
}

// AppendWord writes the answer to an ask that has no numbers.
func AppendWord(dst []byte, a controller.Answer) []byte {
	e := object(dst)
	e.yes("accepted", a.Accepted)
	e.text("text", a.Text)
	e.some("by", a.By)
	return e.end()
}

// AppendIons writes what a tank is thought to hold, each ion in mmol/L and mg/L of
// its atom with its standard uncertainty, and by which shares its stocks are given.
func AppendIons(dst []byte, v *controller.IonsView) []byte {
	e := object(dst)
	e.text("recipe", v.Recipe)
	if !v.Analysed.IsZero() {
		e.moment("analysed", v.Analysed)
	}
	e.key("ions")
	ions := object(e.dst)
	for i := range v.Ions {
		ions.key(v.Ions[i].Name)
		ions.dst = appendIon(ions.dst, &v.Ions[i])
	}
	e.dst = ions.end()
	e.key("shares")
	shares := object(e.dst)
	for _, s := range v.Shares {
		// A name can stand in a topic: it needs no escape.
		shares.number(s.Pump, s.Share, 4)
	}
	e.dst = shares.end()
	e.some("surplus", v.Surplus)
	e.some("ammonium_advice", v.AmmoniumAdvice)
	if !v.Wanted.IsZero() { // by the day: the topic is sent anew when something in it changes
		e.text("analysis_wanted_by", v.Wanted.UTC().Format(time.DateOnly))
	}
	e.some("advice", v.Advice)
	return e.end()
}

// appendIon rounds to what an analysis could tell: the topic is sent anew when
// something in it changes.
func appendIon(dst []byte, v *controller.IonView) []byte {
	decimals := 2
	if !v.Macro {
		decimals = 4
	}
	e := object(dst)
	e.number("mmol_per_l", v.Amount, decimals)
	e.number("uncertainty_mmol_per_l", v.Off, decimals)
	e.number("target_mmol_per_l", v.Target, decimals)
	e.number("mg_per_l", v.Amount*v.Milligrams, decimals)
	if v.Acid != 0 || v.Base != 0 {
		e.number("by_acid_mmol_per_l", v.Acid, decimals)
		e.number("by_base_mmol_per_l", v.Base, decimals)
	}
	return e.end()
}
