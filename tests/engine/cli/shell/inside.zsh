# inside.zsh: what runs in the terminal of offers.zsh.
fpath=($SCRIPT_FOLDER $fpath)
autoload -Uz compinit
compinit -u -D
zle -C offer list-choices _main_complete

# Writes down what is added, and adds it.
compadd() {
    local -a found
    if [[ -z ${(M)argv[1,(i)(-|--)]:#-[OAD]*} ]]; then
        builtin compadd -A found "$@"
        all+=("${found[@]}")
    fi
    builtin compadd "$@"
}

run-lines() {
    local line
    for line in "${(@f)LINES_TO_COMPLETE}"; do
        typeset -ga all=()
        BUFFER=$line
        CURSOR=$#BUFFER
        zle offer
        print -r -- ${(ou)all}
    done >$FOUND
    exit
}
zle -N run-lines
bindkey '^X' run-lines
print ready for the key
