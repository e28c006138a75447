
# Names of the graph on the line, a line each; nothing where they cannot be read.
_lampblack_names() {
    local program=${COMP_WORDS[0]} graph=${2//[\\\"\']/}
    [[ $program == \~/* ]] && program=$HOME/${program:2}
    [[ $graph == \~/* ]] && graph=$HOME/${graph:2}
    type -P "$program" >/dev/null || program=lampblack
    [[ $graph || $1 == operators ]] || return
    command "$program" names "$1" ${graph:+"$graph"} 2>/dev/null </dev/null
}

# _lampblack_reply CURRENT PREFIX SUFFIX: those of standard input's lines that begin as CURRENT.
_lampblack_reply() {
    local word
    while IFS= read -r word; do
        [[ $word == "$1"* ]] && COMPREPLY+=("$2$word$3")
    done
}

# _lampblack_files CURRENT [PATTERN...]: folders, and files that match.
_lampblack_files() {
    local current=$1 pattern
    shift
    compopt -o filenames 2>/dev/null
    for pattern; do
        _lampblack_reply '' '' '' < <(compgen -f -X "!$pattern" -- "$current")
    done
    [[ $1 == '*' ]] || _lampblack_reply '' '' '' < <(compgen -d -- "$current")
}

# _lampblack_offer CURRENT GRAPH KIND [WORD...]
_lampblack_offer() {
    local current=$1 graph=$2 kind=$3 before=
    shift 3
    case $kind in
    nothing) ;;
    words) _lampblack_reply "$current" '' '' < <(printf '%s\n' "$@") ;;
    file) _lampblack_files "$current" '*' ;;
    folder) _lampblack_files "$current" ;;
    graph) _lampblack_files "$current" '*.yaml' '*.yml' ;;
    object) _lampblack_files "$current" '*.so' ;;
    params)
        compopt -o nospace 2>/dev/null
        _lampblack_reply "$current" '' '=' < <(_lampblack_names params "$graph")
        ;;
    list:*)
        [[ $current == *,* ]] && before=${current%,*},
        _lampblack_reply "${current##*,}" "$before" '' < <(_lampblack_names "${kind#list:}" "$graph")
        ;;
    *) _lampblack_reply "$current" '' '' < <(_lampblack_names "$kind" "$graph") ;;
    esac
}

# bash cuts words at "=": "--set glow=1" is four of them.
_lampblack() {
    local IFS=$' \t\n' current=${COMP_WORDS[COMP_CWORD]} command=${COMP_WORDS[1]}
    local i word pending='' ended='' graph='' count=0 offer=()
    COMPREPLY=()
    for ((i = 2; i < COMP_CWORD; i++)); do
        word=${COMP_WORDS[i]}
        if [[ $pending && $word == '=' ]]; then
            continue
        elif [[ $pending ]]; then
            pending=
            while [[ ${COMP_WORDS[i + 1]} == '=' ]] && ((i + 1 < COMP_CWORD)); do
                ((i += 2))
            done
            ((i < COMP_CWORD)) || return 0
        elif [[ $ended || $word != -?* ]]; then
            ((++count))
            _lampblack_operand "$command $count"
            [[ ! $graph && ${offer[0]} == @(graph|file) ]] && graph=$word
        elif [[ $word == -- ]]; then
            ended=1
        elif _lampblack_option "$command $word"; then
            pending=$word
        fi
    done
    if [[ $current == '=' ]]; then
        [[ $pending ]] || return 0
        current=
    fi
    if ((COMP_CWORD == 1)); then
        _lampblack_commands "$current"
    elif [[ $pending ]]; then
        _lampblack_option "$command $pending"
    elif [[ ! $ended && $current == -* ]]; then
        _lampblack_options "$command"
    else
        _lampblack_operand "$command $((count + 1))"
    fi
    for word in "${COMP_WORDS[@]:COMP_CWORD+1}"; do
        [[ ! $graph && $word == *.@(yaml|yml) ]] && graph=$word
    done
    _lampblack_offer "$current" "$graph" "${offer[@]}"
}

complete -F _lampblack lampblack
