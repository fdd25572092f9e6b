#compdef sealbound
# Completion of sealbound for zsh. Where the program offers nothing the shell
# offers files.

_sealbound() {
    local line
    local -a offers
    for line in "${(@f)$("${words[1]}" "${(@Q)words[2,CURRENT]}" --generate-bash-completion 2>/dev/null)}"; do
        [[ -n $line ]] || continue
        if [[ $line == *$'\t'* ]]; then # a description follows
            offers+=("${${line%%$'\t'*}//:/\\:}:${line#*$'\t'}")
        else
            offers+=("${line//:/\\:}")
        fi
    done
    if (( ${#offers} == 0 )); then
        _files
    elif [[ ${words[CURRENT]} == -* ]]; then
        _describe -o sealbound offers # words that begin with a dash
    else
        _describe sealbound offers
    fi
}

if [[ ${funcstack[1]} == _sealbound ]]; then
    _sealbound "$@" # the file itself was loaded as the function
else
    compdef _sealbound sealbound
fi
