package blend

import (
	_ "embed"
	"math/bits"
	"regexp"
	"strconv"
	"strings"
)

//go:embed data/synonyms.csv
var synonymRows string

// The words that salts and acids are named by, in the tables and beyond them. Those
// beyond count too: "nitrite" is one letter from "nitrate" and is not nitrate. A word
// that holds another stands before it.
var (
	cationWords = plainWords(`ammonium potassium sodium calcium magnesium manganese iron zinc copper lithium rubidium
		caesium cesium barium strontium beryllium aluminium aluminum nickel cobalt chromium cadmium silver mercury lead tin
		titanium vanadium selenium lanthanum cerium gallium indium thallium bismuth borax ferrous ferric iron(III)`)
	anionWords = plainWords(`heptamolybdate molybdate thiosulfate persulfate bisulfate sulfate sulfite sulfide
		pyrophosphate polyphosphate phosphate phosphite phosphide nitrate nitrite nitride perchlorate hypochlorite chlorate chlorite
		chloride bromate bromide iodate iodide fluoride metasilicate silicate tetraborate borate bicarbonate carbonate hydroxide
		oxide peroxide acetate citrate oxalate lactate tartrate formate gluconate chromate permanganate cyanide cyanate thiocyanate
		selenate selenite arsenate vanadate tungstate HEDTA EDTA DTPA EDDHSA EDDHA HBED NTA IDHA`)
	acidWords = plainWords(`nitric nitrous phosphoric phosphorous hypophosphorous sulfuric sulfurous boric hydrochloric
		perchloric chloric hypochlorous hydrofluoric hydrobromic citric acetic formic oxalic lactic tartaric malic ascorbic humic
		fulvic silicic carbonic muriatic`)
	// otherIons stand for what no analysis here knows.
	otherIons = plainWords(`fluoride bromide iodide nitrite sulfite sulfide phosphite carbonate lithium barium strontium
		aluminium nickel cobalt chromium cadmium selenium lead carbon oxygen hydrogen fluorine chlorine bromine iodine chlorite
		chlorate ammonia ozone arsenic`)
)

// writing is one way to write something: the name it has here and the ions it holds,
// both of them "" for what is not in the tables.
type writing struct {
	plain, means, ions string
	letters            uint32
}

// writings is every way to write something that is known, then what lies beside it.
var writings = readWritings()

func readWritings() []writing {
	var all []writing
	add := func(written, means string) {
		all = append(all, writing{plainName(written), means, ionsOf(means), lettersOf(plainName(written))})
	}
	for _, name := range SaltNames() {
		add(name, name)
		if formula := Salts[name].Formula; !strings.Contains(formula, " ") {
			add(formula, name)
		}
	}
	for _, name := range ReagentNames() {
		add(name, name)
		add(Reagents[name].Formula, name)
	}
	for _, name := range SpellingNames() {
		add(name, name)
	}
	for _, word := range stockWords {
		add(word, word)
	}
	for _, row := range rows(synonymRows) {
		add(row["synonym"], row["means"])
	}
	known := map[string]bool{}
	for _, w := range all {
		known[w.plain] = true
	}
	beside := func(name string) {
		if !known[name] {
			known[name] = true
			all = append(all, writing{plain: name, letters: lettersOf(name)})
		}
	}
	for _, word := range otherIons {
		beside(word)
	}
	for _, w := range all {
		for _, words := range [][]string{cationWords, anionWords, acidWords} {
			own := wordIn(w.plain, words)
			for _, other := range words {
				if own != "" && w.means != "" {
					beside(strings.Replace(w.plain, own, other, 1))
				}
			}
		}
	}
	return all
}

// ionsOf is what two names must share for one to be suggested for the other: the cation and
// the anion of a salt or acid, the substance of an element.
func ionsOf(name string) string {
	if s, ok := spellings[name]; ok {
		if s.substance == reading {
			return name
		}
		return strconv.Itoa(int(s.substance))
	}
	plain := plainName(name)
	if acid := wordIn(plain, acidWords); acid != "" {
		return acid + " acid"
	}
	if cation, anion := wordIn(plain, cationWords), wordIn(plain, anionWords); cation+anion != "" {
		return cation + " " + anion
	}
	return name
}

func plainWords(text string) []string {
	words := strings.Fields(text)
	for i, word := range words {
		words[i] = plainName(word)
	}
	return words
}

func wordIn(plain string, words []string) string {
	for _, word := range words {
		if strings.Contains(plain, word) {
			return word
		}
	}
	return ""
}

// plainName brings ways to write a name to one: case, spaces, signs and doubled letters do
// not count, sulph is sulf, a zero is an O.
func plainName(name string) string {
	name = strings.ToLower(name)
	var once []byte
	for i := range len(name) {
		if i == 0 || name[i] != name[i-1] || name[i] < 'a' || name[i] > 'z' {
			once = append(once, name[i])
		}
	}
	return unspelled.Replace(strings.ReplaceAll(string(once), "sulph", "sulf"))
}

var (
	unspelled = strings.NewReplacer(" ", "", "-", "", "_", "", "+", "", ".", "", "·", "", "*", "", "⁺", "", "⁻", "", "0", "o",
		"₂", "2", "₃", "3", "₄", "4", "₅", "5", "₇", "7")
	charged = regexp.MustCompile(`^([A-Za-z]{1,2})[234]\+$|^([A-Za-z]{1,2})\+[234]$`)
)

// lettersOf is the set of the letters in a plain name: one slip changes two at most.
func lettersOf(plain string) (set uint32) {
	for i := range len(plain) {
		set |= 1 << (plain[i] & 31)
	}
	return set
}

// mostSlips is how many letters of a long name may be wrong.
const mostSlips = 2

// Meant is which of the names was most likely meant by one that is none of them, "" where
// that is not plain. A suggestion never leads to another cation or anion: none is made
// where the ions of any other known name lie within two slips, or a name that is
// not in the tables lies as near.
func Meant(name string, among []string) string {
	allowed := map[string]bool{}
	for _, n := range among {
		allowed[n] = true
	}
	plain := plainName(charged.ReplaceAllString(strings.TrimSpace(name), "$1$2"))
	best, least := writing{}, mostSlips+1
	for _, exact := range writings {
		if exact.plain == plain {
			if allowed[exact.means] {
				return exact.means
			}
			best, least = exact, 0
		}
	}
	if least == 0 || len(plain) > 60 {
		return ""
	}
	ions, letters := "", lettersOf(plain)
	for _, w := range writings {
		slips := mostSlips + 1
		if d := len(w.plain) - len(plain); d <= mostSlips && -d <= mostSlips && bits.OnesCount32(w.letters^letters) <= 2*mostSlips {
			slips = edits(plain, w.plain)
		}
		if slips > mostSlips {
			continue
		}
		if w.means != "" {
			if ions != "" && ions != w.ions {
				return ""
			}
			ions = w.ions
		}
		if slips < least || slips == least && (w.means == "" || best.means != "" && !allowed[best.means] && allowed[w.means]) {
			best, least = w, slips
		}
	}
	if !allowed[best.means] || least > len(plain)/6 && least > 0 {
		return ""
	}
	return best.means
}
