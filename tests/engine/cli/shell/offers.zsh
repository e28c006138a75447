# offers.zsh FOLDER: completion needs a line editor, so an interactive zsh runs in a terminal of its
# own, where a key runs all lines through the completion system (inside.zsh).
zmodload zsh/zpty
typeset -x LINES_TO_COMPLETE="$(cat)" SCRIPT_FOLDER=${1:A} FOUND=$(mktemp)
zpty terminal zsh -f -i
zpty -w terminal "source ${(q)0:A:h}/inside.zsh"
zpty -r terminal output '*ready for the key*' || exit 1
zpty -w -n terminal $'\C-x'
while zpty -r terminal output; do :; done
cat $FOUND
rm $FOUND
