package desk

// CompletionScripts make a shell complete what the program itself offers: leat complete
// WORD… prints it.
var CompletionScripts = map[string]string{
	"bash": `_leat() {
  local IFS=$'\n'
  COMPREPLY=($(compgen -W "$(leat complete "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null | cut -f1)" -- "${COMP_WORDS[COMP_CWORD]}"))
}
complete -o default -F _leat leat
`,
	"zsh": `_leat() {
  local -a found
  local name text
  while IFS=$'\t' read -r name text; do found+=("${name//:/\\:}:$text"); done < <(leat complete "${(@)words[2,CURRENT]}" 2>/dev/null)
  if (( $#found )); then _describe leat found; else _files; fi
}
compdef _leat leat
`,
	"fish": `function __leat_complete
  set -l found (leat complete (commandline -opc)[2..-1] (commandline -ct) 2>/dev/null)
  if test (count $found) -gt 0
    printf '%s\n' $found
  else
    __fish_complete_path (commandline -ct)
  end
end
complete -c leat -f -a '(__leat_complete)'
`,
}
