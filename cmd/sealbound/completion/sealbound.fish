# Completion of sealbound for fish. Where the program offers nothing the shell
# offers files.

function __sealbound_offers
    set -l before (commandline -opc)
    set -l current (commandline -ct)
    set -l program $before[1]
    set -e before[1]
    set -l offers ($program $before "$current" --generate-bash-completion 2>/dev/null)
    if test (count $offers) -gt 0
        printf '%s\n' $offers
    else
        __fish_complete_path "$current"
    end
end

complete -c sealbound -f -a '(__sealbound_offers)'
