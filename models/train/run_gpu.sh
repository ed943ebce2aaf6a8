#!/bin/bash
# On the GPU machine. Everything lives in $WORK, which outlasts single calls.
#   run_gpu.sh begin PARCEL_DIRS STAGE_1_SECONDS STAGE_2_SECONDS   unpack, start training (and speaking) behind, return
#   run_gpu.sh wait FILE SECONDS                                   until FILE appears in $WORK/out; then logs to $OUT
set -u
WORK=${WORK:-/tmp/ear}
HERE=$(cd "$(dirname "$0")" && pwd)
export PYTHONUNBUFFERED=1 PYTHONPATH=$WORK/site

case $1 in
begin)
    mkdir -p "$WORK/out" "$WORK/spoken"
    cp -r "$HERE" "$WORK/train"
    python3 -m pip install -q --no-index --no-deps --no-compile --target "$WORK/site" "$WORK"/wheels/*.whl
    # The many-voice model speaks on the spare cores while stage 1 trains.
    if [ -e "$WORK/kokoro.1" ]; then
        cat "$WORK"/kokoro.[1-4] > "$WORK/kokoro.onnx"
        workers=$(( $(nproc) > 20 ? $(nproc) - 11 : $(nproc) - 9 ))
        for ((w = 0; w < workers; w++)); do
            setsid nohup nice -n 10 python3 "$WORK/train/speak_neural.py" follow "$WORK/plan.json" "$WORK/kokoro.onnx" \
                "$WORK/voices.npz" "$WORK/spoken" $w $workers $(( $3 + 20 )) > "$WORK/out/speak_$w.txt" 2>&1 < /dev/null &
        done
    fi
    python3 "$WORK/train/unpack.py" "$2" "$WORK/data" || exit 1
    setsid nohup python3 "$WORK/train/run_gpu.py" "$WORK/data" "$WORK/out" "$3" "$4" "$WORK/spoken" "$WORK/plan.labels.json" \
        > "$WORK/out/driver.log" 2>&1 < /dev/null &
    ;;
wait)
    for ((i = 0; i < $3; i++)); do
        [ -e "$WORK/out/$2" ] && break
        pgrep -f "$WORK/train/run_gpu.py" > /dev/null || { echo "the driver is gone"; break; }
        sleep 1
    done
    ;;
esac
nvidia-smi --query-gpu=name,utilization.gpu,memory.used --format=csv,noheader
tail -n 2 "$WORK"/out/*.log "$WORK"/out/speak_0.txt 2>/dev/null
tar -C "$WORK/out" -czf "$OUT/logs.tgz" --exclude='*.npz' .
