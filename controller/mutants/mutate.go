package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"sort"
	"strings"
)

// Mutants are made all at once: each place calls one of the functions of switch.txt with
// its number, and does as written unless that number is the active one. So the package is
// built once, and a mutant costs a run of its tests.

// mutant is one change of one place.
type mutant struct {
	number int
	at     token.Position // its file's base name, line and column
	change string         // in words: what became of what
}

func (m *mutant) String() string {
	return fmt.Sprintf("%s:%d:%d %s", m.at.Filename, m.at.Line, m.at.Column, m.change)
}

// insertion is text that goes into a file, in place of so many bytes.
type insertion struct {
	offset, length int
	outer          bool // before, or after, all others at this offset
	text           string
	site           int
}

// site is one place with its mutants.
type site struct {
	first   int // number of the first of its mutants
	changes []string
	at      token.Pos
	dropped bool // it does not compile
}

// mutation makes the mutants of one package.
type mutation struct {
	fset   *token.FileSet
	info   *types.Info
	pkg    *types.Package
	sites  []site
	consts map[types.Object]int // sites of the package's constants: all their uses change together
	file   *ast.File
	edits  map[*ast.File][]insertion
	next   int
}

// put notes a site's text before and after a node.
func (m *mutation) put(at, end token.Pos, before, after string, changes ...string) {
	s := len(m.sites)
	m.sites = append(m.sites, site{first: m.next, changes: changes, at: at})
	m.around(s, at, end, fmt.Sprintf(before, m.next), after)
	m.next += len(changes)
}

func (m *mutation) around(s int, at, end token.Pos, before, after string) {
	m.insert(s, at, 0, false, before)
	m.insert(s, end, 0, true, after)
}

func (m *mutation) insert(s int, at token.Pos, length int, ends bool, text string) {
	m.edits[m.file] = append(m.edits[m.file], insertion{m.fset.Position(at).Offset, length, ends, text, s})
}

var compared = map[token.Token][]string{
	token.LSS: {"<=", ">="}, token.LEQ: {"<", ">"}, token.GTR: {">=", "<="}, token.GEQ: {">", "<"}, token.EQL: {"!="}, token.NEQ: {"=="},
}

var computed = map[token.Token]string{token.ADD: "-", token.SUB: "+", token.MUL: "/", token.QUO: "*"}

// ordered are the functions that stand for an operator.
var ordered = map[token.Token]string{
	token.LSS: "mutateLess", token.LEQ: "mutateAtMost", token.GTR: "mutateMore", token.GEQ: "mutateAtLeast", token.EQL: "mutateSame",
	token.NEQ: "mutateOther", token.ADD: "mutatePlus", token.SUB: "mutateMinus", token.MUL: "mutateTimes", token.QUO: "mutateOver",
}

// walk visits a node and what is below it, parents first.
func (m *mutation) walk(node ast.Node) {
	ast.Inspect(node, func(n ast.Node) bool {
		if e, ok := n.(ast.Expr); ok && m.constant(e) {
			m.number(e)
			return false
		}
		switch n := n.(type) {
		case *ast.GenDecl:
			return n.Tok == token.VAR
		case *ast.ArrayType:
			m.walk(n.Elt)
			return false
		case *ast.KeyValueExpr:
			m.walk(n.Value)
			return false
		case *ast.IfStmt:
			m.condition(n.Cond)
		case *ast.BlockStmt:
			m.statements(n.List)
		case *ast.CaseClause:
			m.statements(n.Body)
		case *ast.BinaryExpr:
			m.binary(n)
		case *ast.UnaryExpr:
			if n.Op == token.NOT {
				m.put(n.Pos(), n.End(), "mutateNot(%d, ", ")", "drop !")
				m.insert(len(m.sites)-1, n.OpPos, 1, false, "")
			}
		case *ast.CallExpr:
			m.call(n)
		case *ast.ReturnStmt:
			m.results(n)
		case *ast.SelectorExpr:
			m.walk(n.X)
			return false
		}
		return true
	})
}

func (m *mutation) typeOf(e ast.Expr) types.Type { return m.info.Types[e].Type }

func basic(t types.Type) types.BasicInfo {
	if t == nil {
		return 0
	}
	if b, ok := t.Underlying().(*types.Basic); ok {
		return b.Info()
	}
	return 0
}

func (m *mutation) constant(e ast.Expr) bool { return m.info.Types[e].Value != nil }

// condition makes an if always true and never.
func (m *mutation) condition(cond ast.Expr) {
	if !m.constant(cond) {
		m.put(cond.Pos(), cond.End(), "mutateIf(%d, ", ")", "if true", "if false")
	}
}

// statements leaves each one out that only does something.
func (m *mutation) statements(list []ast.Stmt) {
	for _, s := range list {
		what := ""
		switch s := s.(type) {
		case *ast.ExprStmt:
			if call, ok := s.X.(*ast.CallExpr); ok {
				if f, ok := call.Fun.(*ast.Ident); ok && f.Name == "panic" {
					continue
				}
				what = "leave out a call"
			}
		case *ast.AssignStmt:
			if s.Tok != token.DEFINE && !blank(s.Lhs) {
				what = "leave out an assignment"
			}
		case *ast.IncDecStmt:
			what = "leave out " + s.Tok.String()
		}
		if what != "" {
			m.put(s.Pos(), s.End(), "if mutateDo(%d) { ", " }", what)
		}
	}
}

func blank(left []ast.Expr) bool {
	name, ok := left[0].(*ast.Ident)
	return ok && name.Name == "_" && len(left) == 1
}

func (m *mutation) binary(b *ast.BinaryExpr) {
	operands := m.typeOf(b.X)
	if m.constant(b) || operands == nil {
		return
	}
	cut := func() { m.insert(len(m.sites)-1, b.OpPos, len(b.Op.String()), false, ", ") }
	switch {
	case b.Op == token.LAND || b.Op == token.LOR:
		other := map[token.Token]string{token.LAND: "||", token.LOR: "&&"}[b.Op]
		m.put(b.Pos(), b.End(), "mutateBoth(%d, "+fmt.Sprint(b.Op == token.LAND)+", ", "})", b.Op.String()+" to "+other)
		m.insert(len(m.sites)-1, b.OpPos, 2, false, ",")
		m.insert(len(m.sites)-1, b.Y.Pos(), 0, false, " func() bool { return ") // not at the end of a line
	case compared[b.Op] != nil && basic(operands)&types.IsOrdered != 0:
		var changes []string
		for _, to := range compared[b.Op] {
			changes = append(changes, b.Op.String()+" to "+to)
		}
		m.put(b.Pos(), b.End(), ordered[b.Op]+"(%d, ", ")", changes...)
		cut()
	case compared[b.Op] != nil && basic(operands)&types.IsBoolean != 0:
		m.put(b.Pos(), b.End(), "mutateEqual(%d, "+fmt.Sprint(b.Op == token.EQL)+", ", ")", b.Op.String()+" to "+compared[b.Op][0])
		cut()
	case computed[b.Op] != "" && basic(operands)&types.IsNumeric != 0:
		m.put(b.Pos(), b.End(), ordered[b.Op]+"(%d, ", ")", b.Op.String()+" to "+computed[b.Op])
		cut()
	}
}

// call swaps min and max.
func (m *mutation) call(c *ast.CallExpr) {
	f, ok := c.Fun.(*ast.Ident)
	if !ok || f.Name != "min" && f.Name != "max" || m.constant(c) {
		return
	}
	if _, built := m.info.Uses[f].(*types.Builtin); !built {
		return
	}
	other := map[string]string{"min": "max", "max": "min"}[f.Name]
	s := len(m.sites)
	m.sites = append(m.sites, site{first: m.next, changes: []string{f.Name + " to " + other}, at: c.Pos()})
	m.insert(s, c.Fun.Pos(), len(f.Name), false, "mutateBound")
	m.insert(s, c.Lparen+1, 0, false, fmt.Sprintf("%d, %v, ", m.next, f.Name == "min"))
	m.next++
}

// called is how a type is written in the package.
func (m *mutation) called(t types.Type) string {
	return types.TypeString(t, func(p *types.Package) string {
		if p == m.pkg {
			return ""
		}
		return p.Name()
	})
}

// number changes a constant expression.
func (m *mutation) number(e ast.Expr) {
	t := m.typeOf(e)
	switch e := e.(type) {
	case *ast.Ident:
		m.name(e)
	case *ast.BasicLit, *ast.BinaryExpr, *ast.UnaryExpr, *ast.ParenExpr:
		if basic(t)&types.IsNumeric != 0 && !m.local(t) {
			m.put(e.Pos(), e.End(), "mutateNumber["+m.called(types.Default(t))+"](%d, ", ")", types.ExprString(e)+" to another number")
		}
	}
}

// name changes true and false, and the constants of the package wherever they are used.
func (m *mutation) name(id *ast.Ident) {
	object, used := m.info.Uses[id].(*types.Const)
	if !used {
		return
	}
	t := m.typeOf(id)
	switch {
	case object.Parent() == types.Universe && (id.Name == "true" || id.Name == "false"):
		m.put(id.Pos(), id.End(), "mutateBool(%d, ", ")", id.Name+" to its opposite")
	case object.Pkg() == m.pkg && basic(t)&types.IsNumeric != 0 && !m.local(object.Type()):
		s, known := m.consts[object]
		if !known {
			s = len(m.sites)
			m.consts[object] = s
			m.sites = append(m.sites, site{first: m.next, changes: []string{id.Name + " to half and more of it", id.Name + " to half of it"}, at: object.Pos()})
			m.next += 2
		}
		as := "" // a constant with a type of its own tells it
		if of, plain := object.Type().(*types.Basic); plain && of.Info()&types.IsUntyped != 0 {
			as = "[" + m.called(types.Default(t)) + "]"
		}
		m.around(s, id.Pos(), id.End(), fmt.Sprintf("mutateConst%s(%d, ", as, m.sites[s].first), ")")
	}
}

// local says that a type is an enumeration of the package.
func (m *mutation) local(t types.Type) bool {
	named, ok := t.(*types.Named)
	return ok && named.Obj().Pkg() == m.pkg
}

// results makes a named result of an enumeration nothing.
func (m *mutation) results(r *ast.ReturnStmt) {
	for _, e := range r.Results {
		id, ok := e.(*ast.Ident)
		if !ok {
			continue
		}
		if object, ok := m.info.Uses[id].(*types.Const); ok && m.local(object.Type()) && object.Val().String() != "0" {
			m.put(id.Pos(), id.End(), "mutateNothing(%d, ", ")", "return nothing for "+id.Name)
		}
	}
}

// laid is where a site's text came to lie.
type laid struct{ offset, site int }

// render is a file with all insertions of the sites that are left, and where they lie.
func (m *mutation) render(body []byte, file *ast.File) ([]byte, []laid) {
	edits := m.edits[file]
	// Parents come first: what begins at one place goes outside in, what ends inside out.
	order := make([]int, len(edits))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool {
		x, y := &edits[order[a]], &edits[order[b]]
		switch {
		case x.offset != y.offset:
			return x.offset < y.offset
		case x.outer != y.outer:
			return x.outer
		case x.outer:
			return order[a] > order[b]
		}
		return order[a] < order[b]
	})
	var out bytes.Buffer
	var places []laid
	done := 0
	for _, i := range order {
		e := &edits[i]
		if m.sites[e.site].dropped {
			continue
		}
		out.Write(body[done:e.offset])
		places = append(places, laid{out.Len(), e.site})
		out.WriteString(e.text)
		done = e.offset + e.length
	}
	out.Write(body[done:])
	return out.Bytes(), places
}

// mutants lists what is left, in the order of the source.
func (m *mutation) mutants() (all []mutant) {
	for i := range m.sites {
		s := &m.sites[i]
		if s.dropped {
			continue
		}
		at := m.fset.Position(s.at)
		at.Filename = at.Filename[strings.LastIndexByte(at.Filename, '/')+1:]
		for k, change := range s.changes {
			all = append(all, mutant{number: s.first + k, at: at, change: change})
		}
	}
	sort.SliceStable(all, func(a, b int) bool {
		x, y := &all[a], &all[b]
		if x.at.Filename != y.at.Filename {
			return x.at.Filename < y.at.Filename
		}
		return x.at.Offset < y.at.Offset
	})
	return all
}
