#!/bin/bash
# The third stage on the GPU machine. Everything lives in $WORK, which outlasts single calls; what should come back goes to $OUT.
#   run_long.sh speak SECONDS WORKERS                 the many-voice model speaks, behind
#   run_long.sh fast                                  the fast synthesisers speak, all cores, and are waited for
#   run_long.sh begin PARCEL_DIRS SECONDS [MEASURE]   unpack, start training behind; MEASURE seconds later measure the model to start from
#   run_long.sh wait FILE SECONDS                     until FILE appears in $WORK/out, or SECONDS have passed
#   run_long.sh finish MODEL...                       export and measure (average.int8.onnx best.int8.onnx average.fp32.onnx)
#   run_long.sh twice MODEL.onnx CONDITIONS VOICES CORES NAME    twice.py on that many cores
# $WORK must hold start.onnx (the model to start from); the parcel folders; wheels/ (soundfile, cffi, pycparser); t/ with test.json,
# test.0.flac and on (the clips, joined), test.n.json (their lengths), lexicon.json (lexicon.dump), reading.fsg
# (decoder.compile_jsgf) and talkers/; for `speak` what run_gpu.sh wants; for `fast` sentences/, b/wrap/ (commands espeak-ng and flite)
# and the wheel of py-nanotts.
set -u
WORK=${WORK:-/tmp/ear}
HERE=$(cd "$(dirname "$0")" && pwd)
export PYTHONUNBUFFERED=1 PYTHONPATH=$WORK/site
export EAR_LEXICON=$WORK/t/lexicon.json EAR_FSG=$WORK/t/reading.fsg EAR_TALKERS="$WORK/t/talkers/*.wav"
mkdir -p "$WORK/out" "$WORK/rows" "$WORK/spoken"

case $1 in
speak)
    cat "$WORK"/kokoro.[1-4] > "$WORK/kokoro.onnx"
    for ((w = 0; w < $3; w++)); do
        setsid nohup nice -n 15 python3 "$HERE/speak_neural.py" follow "$WORK/plan.json" "$WORK/kokoro.onnx" "$WORK/voices.npz" "$WORK/spoken" \
            $w "$3" "$2" > "$WORK/out/speak_$w.txt" 2>&1 < /dev/null &
    done
    sleep 5
    cat "$WORK"/out/speak_*.txt | head -5
    exit
    ;;
fast)
    python3 -m pip install -q --no-index --no-deps --no-compile --target "$WORK/site" "$WORK"/wheels/*.whl
    export PATH=$WORK/b/wrap:$PATH OMP_NUM_THREADS=1
    for job in "espeak 8 0.35" "espeak@grammar 3 0.35" "pico-gb 6 0.35" "pico-gb@grammar 2 0.3" "pico-us 2 0.3" "flite-rms 3 0.3" "flite-slt 3 0.3"; do
        set -- $job
        for ((p = 1; p <= $2; p++)); do
            timeout 150 python3 "$HERE/speak_fast.py" "$WORK/sentences" "$WORK/fast" "$1" "$3" "$p" &
        done
    done
    wait
    exit
    ;;
begin)
    python3 -m pip install -q --no-index --no-deps --no-compile --target "$WORK/site" "$WORK"/wheels/*.whl
    python3 "$HERE/unpack.py" "$2" "$WORK/data" "$WORK/fast" "$WORK/sentences" || exit 1
    python3 "$HERE/from_onnx.py" "$WORK/start.onnx" "$WORK/start.npz"
    setsid nohup python3 "$HERE/run_long.py" "$WORK/data" "$WORK/out" "$3" "$WORK/start.npz" "$WORK/spoken" "$WORK/plan.labels.json" \
        > "$WORK/out/driver.log" 2>&1 < /dev/null &
    echo $! > "$WORK/driver.pid"
    python3 - "$WORK/t" <<'PY'
import glob, json, sys
import numpy as np, soundfile
t = sys.argv[1]
np.savez(f"{t}/test.npz", x=np.concatenate([soundfile.read(f, dtype="int16")[0] for f in sorted(glob.glob(f"{t}/test.*.flac"))]), n=json.load(open(f"{t}/test.n.json")))
PY
    spare=$(( $(nproc) / 2 ))
    setsid nohup nice -n 10 bash -c "sleep ${4:-0}; '$HERE/evaluate_all.sh' '$WORK/t' '$WORK/rows' $spare '$WORK/start.onnx'
        '$HERE/run_long.sh' twice '$WORK/start.onnx' clean,20,10,5 fl-awb,fl-kal16,hib-gb,prompts $spare start" > "$WORK/out/start.log" 2>&1 < /dev/null &
    sleep 45
    ;;
wait)
    for ((i = 0; i < $3; i++)); do
        [ -e "$WORK/out/$2" ] && break
        kill -0 "$(cat "$WORK/driver.pid")" || break
        sleep 1
    done
    ;;
finish)
    shift
    cd "$WORK/out" || exit 1
    for m in average best; do python3 "$HERE/export.py" $m.npz $m; done
    cp best.npz average.npz average.int8.onnx best.int8.onnx results.json "$OUT/"
    "$HERE/evaluate_all.sh" "$WORK/t" "$WORK/rows" "$(nproc)" "$@"
    ;;
twice)
    for ((s = 0; s < $5; s++)); do
        python3 "$HERE/twice.py" rows "$2" "$WORK/t" "$WORK/rows/twice.$6.$s.part" "$3" $s "$5" "$4" &
    done
    wait
    cat "$WORK/rows/twice.$6".*.part > "$WORK/rows/twice.$6.tsv"
    rm -f "$WORK/rows/twice.$6".*.part
    wc -l "$WORK/rows/twice.$6.tsv"
    exit
    ;;
esac
nvidia-smi --query-gpu=name,utilization.gpu,memory.used --format=csv,noheader
tail -q -n 1 "$WORK"/out/*.log
tar -C "$WORK/rows" -czf "$OUT/rows.tgz" . 2>/dev/null
tar -C "$WORK/out" -czf "$OUT/logs.tgz" --exclude='*.npz' --exclude='*.onnx' . 2>/dev/null
