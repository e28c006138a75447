# offers.fish SCRIPT
source $argv[1]
while read -l line
    # Descriptions stand behind a tab.
    echo (complete -C "$line" | string replace -r '\t.*' '')
end
