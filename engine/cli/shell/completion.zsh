
# Names of the first graph file on the line into `reply`; none where they cannot be read.
_lampblack_read_names() {
    local word graph
    reply=()
    for word in ${(Q)words}; do
        [[ $word == *.(yaml|yml) && -f ${word/#\~\//$HOME/} ]] || continue
        graph=${word/#\~\//$HOME/}
        break
    done
    [[ -n $graph || $1 == operators ]] || return 1
    reply=(${(f)"$($lampblack_program names $1 $graph 2>/dev/null </dev/null)"})
}

_lampblack_names() {
    local -a reply
    _lampblack_read_names $1
    compadd -a reply
}

# A list with commas.
_lampblack_list() {
    local -a reply
    _lampblack_read_names $1
    compset -P '*,'
    compset -S ',*'
    compadd -q -S , -a reply
}

# NAME=, and then whatever value.
_lampblack_params() {
    local -a reply
    [[ $PREFIX == *=* ]] && return 1
    _lampblack_read_names params
    compadd -S = -a reply
}

_lampblack() {
    local curcontext=$curcontext lampblack_program=${words[1]/#\~\//$HOME/}
    (( $+commands[$lampblack_program] )) || [[ -x $lampblack_program ]] || lampblack_program=lampblack
    if (( CURRENT == 2 )); then
        _lampblack_commands
        return
    fi
    shift words
    (( CURRENT-- ))
    _lampblack_arguments $words[1]
}

# Found by name it is the function's body; sourced, it is only made known.
if [[ $funcstack[1] == _lampblack ]]; then
    _lampblack "$@"
else
    compdef _lampblack lampblack
fi
