# Completion for roundel and roundeld: words are taken from their own --help, so they never lag behind.
_roundel() {
  local word=${COMP_WORDS[COMP_CWORD]} program=${COMP_WORDS[0]} command=${COMP_WORDS[1]}
  if [ "$COMP_CWORD" -eq 1 ]; then
    local commands
    commands=$("$program" --help 2>/dev/null | awk '/^Subcommands:/{on=1; next} /^$/{on=0} on{print $1}')
    mapfile -t COMPREPLY < <(compgen -W "$commands --help" -- "$word")
    return
  fi
  if [[ $word == -* ]]; then
    local options
    options=$("$program" "$command" --help 2>/dev/null | grep -oE -- '--[a-z][a-z-]*' | sort -u)
    mapfile -t COMPREPLY < <(compgen -W "$options" -- "$word")
    return
  fi
  mapfile -t COMPREPLY < <(compgen -f -- "$word")
}
complete -o filenames -F _roundel roundel roundeld
