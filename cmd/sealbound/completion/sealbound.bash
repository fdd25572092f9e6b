# Completion of sealbound for bash, also the 3.2 of macOS.
# Where the program offers nothing the shell offers files.

_sealbound() {
    local program=$1 word glued='' i
    local -a words=()
    # bash takes --format=js for three words; the program wants one.
    for ((i = 1; i <= COMP_CWORD; i++)); do
        word=${COMP_WORDS[i]}
        if [[ $word == = && ${#words[@]} -gt 0 && ${words[${#words[@]}-1]} == -* && -z $glued ]]; then
            words[${#words[@]}-1]+='='
            glued=yes
        elif [[ -n $glued ]]; then
            words[${#words[@]}-1]+=$word
            glued=''
        else
            words[${#words[@]}]=$word
        fi
    done
    word=''
    ((${#words[@]} > 0)) && word=${words[${#words[@]}-1]}
    COMPREPLY=()
    local line
    while IFS= read -r line; do
        line=${line%%$'\t'*} # what follows is a description
        if [[ $word == -*=* && $COMP_WORDBREAKS == *=* ]]; then
            line=${line#*=}
        fi
        COMPREPLY[${#COMPREPLY[@]}]=$line
    done < <("$program" "${words[@]}" --generate-bash-completion 2>/dev/null)
}

complete -o bashdefault -o default -F _sealbound sealbound
