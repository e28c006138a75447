
# True while the first word is typed, the command.
function __lampblack_first
    test (count (commandline -opc)) -eq 1
end

function __lampblack_command
    set -l typed (commandline -opc)
    test (count $typed) -gt 1; and test "$typed[2]" = $argv[1]
end

# __lampblack_operand COMMAND N: true where the N-th operand is typed; "*": any.
function __lampblack_operand
    __lampblack_command $argv[1]; or return 1
    set -l typed (commandline -opc)
    set -l count 1
    set -l is_value 0
    set -l ended 0
    set -e typed[1..2]
    for word in $typed
        if test $is_value = 1
            set is_value 0
        else if test $ended = 0; and test "$word" = --
            set ended 1
        else if test $ended = 0; and string match -qr '^-.' -- $word
            __lampblack_takes_value "$argv[1] $word"; and set is_value 1
        else
            set count (math $count + 1)
        end
    end
    test $argv[2] = '*'; or test $argv[2] = $count
end

# Names of the first graph file on the line; none where they cannot be read.
function __lampblack_names
    set -l typed (commandline -op)
    set -l program (string replace -r '^~/' "$HOME/" -- $typed[1])
    type -q $program; or set program lampblack
    for word in $typed
        set -l graph (string replace -r '^~/' "$HOME/" -- $word)
        if string match -qr '\.ya?ml$' -- $graph; and test -f $graph
            $program names $argv[1] $graph 2>/dev/null </dev/null
            return
        end
    end
    test $argv[1] = operators; and $program names operators 2>/dev/null
end

# What has been typed of a value.
function __lampblack_value
    commandline -ct | string replace -r '^--[a-z-]+=' ''
end

# A list with commas.
function __lampblack_list
    set -l before (__lampblack_value | string match -r '^.*,')
    for name in (__lampblack_names $argv[1])
        echo "$before$name"
    end
end

function __lampblack_params
    __lampblack_value | string match -q '*=*'; and return
    for name in (__lampblack_names params)
        echo $name=
    end
end
