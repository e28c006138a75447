#!/usr/bin/env bash
# offers.bash SCRIPT: cuts lines into words as readline does, at spaces and "=", calls the function
# that `complete` knows for lampblack, and prints COMPREPLY.
# shellcheck disable=SC1090
source "$1"
[[ $(complete -p lampblack) =~ ^complete\ -F\ ([a-z_]+)\ lampblack$ ]] || exit 1
function=${BASH_REMATCH[1]}
while IFS= read -r line; do
    spaced=${line//\\ /$'\1'} # what is quoted does not part words
    spaced=${spaced//=/ = }
    read -ra COMP_WORDS <<<"$spaced"
    COMP_WORDS=("${COMP_WORDS[@]//$'\1'/\\ }")
    [[ $line == *' ' ]] && COMP_WORDS+=('')
    COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
    "$function" lampblack "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD - 1]}"
    echo "${COMPREPLY[@]}"
done
