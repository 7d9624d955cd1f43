package blend

import (
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var element = regexp.MustCompile(`[A-Z][a-z]?`)

// holdsWhat is what a salt, acid or element is made of, read from its formula and not
// from the words of its name: its elements but hydrogen and oxygen, or the substance.
func holdsWhat(name string) string {
	var formula string
	kind := "salt "
	if s, ok := Salts[name]; ok {
		if formula = s.Formula; strings.Contains(formula, " ") {
			return strings.Fields(name)[1]
		}
	} else if r, ok := Reagents[name]; ok {
		formula, kind = r.Formula, r.Role.String()
	} else if s, ok := spellings[name]; ok && s.substance < reading {
		return string(rune('a' + s.substance))
	} else {
		return name
	}
	found := element.FindAllString(formula, -1)
	found = slices.DeleteFunc(found, func(e string) bool { return e == "H" || e == "O" })
	slices.Sort(found)
	return kind + strings.Join(slices.Compact(found), " ")
}

func everyName() []string {
	return slices.Concat(SaltNames(), ReagentNames(), SpellingNames())
}

func slip(draw *rand.Rand, name string) string {
	const letters = "abcdefghijklmnopqrstuvwxyz"
	at, letter := draw.IntN(len(name)), string(letters[draw.IntN(len(letters))])
	switch draw.IntN(4) {
	case 0:
		return name[:at] + name[at+1:]
	case 1:
		return name[:at] + letter + name[at:]
	case 2:
		return name[:at] + letter + name[at+1:]
	}
	if at+1 < len(name) {
		return name[:at] + name[at+1:at+2] + name[at:at+1] + name[at+2:]
	}
	return name
}

func TestAHintNeverNamesAnotherCationOrAnion(t *testing.T) {
	draw := rand.New(rand.NewPCG(10, 6))
	names := map[string]string{}
	for _, name := range everyName() {
		names[name] = name
	}
	for _, row := range rows(synonymRows) {
		names[row["synonym"]] = row["means"]
	}
	written := map[string]bool{}
	for _, w := range writings {
		written[w.plain] = true
	}
	among := everyName()
	tried, hinted := 0, 0
	keys := make([]string, 0, len(names))
	for name := range names {
		keys = append(keys, name)
	}
	slices.Sort(keys)
	for _, name := range keys {
		for n := range 20 {
			wrong := slip(draw, name)
			if n%2 == 1 && wrong != "" {
				wrong = slip(draw, wrong)
			}
			if written[plainName(wrong)] { // it is a name itself: nobody can see a slip
				continue
			}
			guess := Meant(wrong, among)
			if guess != "" && holdsWhat(guess) != holdsWhat(names[name]) {
				t.Errorf("%q, meant for %q: did you mean %q?", wrong, name, guess)
			}
			if len(name) >= 14 {
				tried++
				if guess != "" {
					hinted++
				}
			}
		}
	}
	if hinted*100 < tried*90 {
		t.Errorf("of %d mistyped long names only %d get a hint", tried, hinted)
	}
}

// What a grower may have in the shed and the tables do not know.
func TestAnUnknownSaltIsNotTakenForAKnownOne(t *testing.T) {
	for _, name := range strings.Split(`sodium nitrate,calcium sulfate,calcium sulfate dihydrate,potassium sulfite,potassium nitrite,calcium nitrite,
sodium nitrite,ammonium chloride,ammonium phosphite,potassium phosphite,monopotassium phosphite,magnesium chloride,magnesium chloride hexahydrate,
magnesium carbonate,calcium carbonate decahydrate,calcium acetate,calcium hydroxide,lithium hydroxide,ammonium hydroxide,ammonium carbonate,
sodium carbonate,sodium bicarbonate,calcium chlorate,sodium chlorate,sodium chlorite,potassium chlorate,potassium iodide,potassium bromide,
zinc nitrate,zinc chloride,copper chloride,copper nitrate,copper oxide,manganese nitrate,iron nitrate,iron chloride,ferric chloride,ferric sulfate,
iron HBED,iron HEDTA,zinc EDTA,copper EDTA,manganese EDTA,calcium EDTA,sodium EDTA,sodium sulfate,sodium sulfite,sodium silicate,
calcium silicate,sodium phosphate,tripotassium citrate,potassium citrate,potassium acetate,potassium permanganate,cobalt sulfate,nickel sulfate,
aluminium sulfate,lead nitrate,silver nitrate,barium nitrate,strontium nitrate,lithium nitrate,citric acid,acetic acid,hydrochloric acid,
nitrous acid,sulfurous acid,phosphorous acid,formic acid,carbonic acid,humic acid,hydrofluoric acid,
KNO2,NaNO3,NH4Cl,CaSO4,K2SO3,KH2PO3,HNO2,H2SO3,H3PO3,HCl,LiOH,Na2SO4,KH,NO2,F,Br,I,Al,Co,Ni,Cr,Cd,Pb,Se,CO3,SO2,NO2-N,F-,H2S,
nitrite,fluoride,bromide,iodide,sulfite,sulfide,phosphite,carbon,nickel,cobalt,selenium,lithium,aluminium,chromium`, ",") {
		name = strings.TrimSpace(name)
		if guess := Meant(name, everyName()); guess != "" {
			t.Errorf("%q: did you mean %q?", name, guess)
		}
	}
}

func TestWhatGrowersWriteIsUnderstood(t *testing.T) {
	for wrong, want := range map[string]string{
		"calcium nitrate": "calcium nitrate tetrahydrate", "Calcium  Nitrate": "calcium nitrate tetrahydrate", "calcium nitrat": "calcium nitrate tetrahydrate",
		"calciumnitrate": "calcium nitrate tetrahydrate", "Ca(NO3)2": "calcium nitrate tetrahydrate", "Ca(NO₃)₂·4H₂O": "calcium nitrate tetrahydrate",
		"epsom salt": "magnesium sulfate heptahydrate", "magnesium sulphate": "magnesium sulfate heptahydrate", "MgSO4*7H2O": "magnesium sulfate heptahydrate",
		"kno3": "potassium nitrate", "KN03": "potassium nitrate", "K2S04": "potassium sulfate", "k2so4": "potassium sulfate", "MKP": "monopotassium phosphate",
		"kh2po4": "monopotassium phosphate", "potasium nitrate": "potassium nitrate", "potassium nitarte": "potassium nitrate", "mono potassium phosphate": "monopotassium phosphate",
		"sulphuric acid": "sulfuric acid", "nitic acid": "nitric acid", "hno3": "nitric acid", "phosforic acid": "phosphoric acid",
		"nitrate": "NO3", "NO3-": "NO3", "Ca2+": "Ca", "Ca+2": "Ca", "NO3N": "NO3-N", "no3 n": "NO3-N", "potassium": "K", "pottasium": "K", "K20": "K2O", "sulphate": "SO4", "Mgg": "Mg",
		"zinc sulphate": "zinc sulfate heptahydrate", "iron sulfate": "iron(II) sulfate heptahydrate", "calcium chloride": "calcium chloride dihydrate",
	} {
		if got := Meant(wrong, everyName()); got != want {
			t.Errorf("%q: %q, want %q", wrong, got, want)
		}
	}
}

func TestEverySynonymMeansSomethingOfTheTables(t *testing.T) {
	for _, row := range rows(synonymRows) {
		if !slices.Contains(everyName(), row["means"]) {
			t.Errorf("%q means %q, which is in no table", row["synonym"], row["means"])
		}
	}
}
