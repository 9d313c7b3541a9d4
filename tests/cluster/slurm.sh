#!/usr/bin/env bash
# usage: slurm.sh NESTLINE [PYTHON]
# A population by a Slurm job array: one of three shards is killed, sent out again, and all are put together; the bytes
# are those of one run, and DuckDB (where PYTHON has it) counts as many failures in the files. The cluster is this
# machine alone, with everything in a folder that goes afterwards. Needs root, or sudo without a password.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
left_out() {
    local line="not run: slurm: $1"
    echo "$line" >&2
    [[ -z ${NESTLINE_NOT_RUN:-} ]] || echo "$line" >>"$NESTLINE_NOT_RUN"
    exit 0
}
export PATH=$PATH:/usr/sbin:/sbin
for program in munged slurmctld slurmd sbatch scancel; do
    command -v "$program" >/dev/null || left_out "there is no $program (packages slurm-wlm and munge)"
done
if [[ $(id -u) -ne 0 ]]; then
    sudo -n true 2>/dev/null || left_out "a cluster of one machine needs root, or sudo without a password"
    exec sudo -n env "PATH=$PATH" "NESTLINE_NOT_RUN=${NESTLINE_NOT_RUN:-}" bash "$here/slurm.sh" "$@"
fi
nestline=$(realpath "$1")
python=${2:-}

place=$(mktemp -d)
daemons=()
stop() {
    local ended=$?
    ((ended == 0)) || tail -n 20 "$place"/*.log >&2 || true
    # the last first, each by its own number
    for ((i = ${#daemons[@]} - 1; i >= 0; i--)); do
        kill "${daemons[i]}" 2>/dev/null && wait "${daemons[i]}" 2>/dev/null || true
    done
    rm -rf "$place"
    exit "$ended"
}
trap stop EXIT
# others than the usual ports, so that a cluster that is there already is left alone
port=$((20000 + $$ % 20000))
name=$(hostname -s)
install -d -m 700 "$place/key" "$place/state" "$place/spool"
chmod 755 "$place"
head -c 1024 /dev/urandom >"$place/key/munge.key"
chmod 400 "$place/key/munge.key"
cat >"$place/slurm.conf" <<CONF
ClusterName=rehearsal
SlurmctldHost=$name(127.0.0.1)
SlurmUser=root
SlurmdUser=root
SlurmctldPort=$port
SlurmdPort=$((port + 1))
AuthType=auth/munge
AuthInfo=socket=$place/munge.socket
StateSaveLocation=$place/state
SlurmdSpoolDir=$place/spool
SlurmctldPidFile=$place/slurmctld.pid
SlurmdPidFile=$place/slurmd.pid
SlurmctldLogFile=$place/slurmctld.log
SlurmdLogFile=$place/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
MpiDefault=none
ReturnToService=2
SchedulerParameters=sched_interval=2,batch_sched_delay=0
NodeName=$name NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=all Nodes=$name Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF=$place/slurm.conf
munged --foreground --force --key-file "$place/key/munge.key" --socket "$place/munge.socket" --pid-file "$place/key/pid" \
    --log-file "$place/munged.log" --seed-file "$place/key/entropy" >"$place/munged.out" 2>&1 &
daemons+=($!)
comes() {
    for ((i = 0; i < 150; i++)); do
        "$@" >/dev/null 2>&1 && return
        sleep 0.2
    done
    return 1
}
# daemons that do not come up are a machine that forbids them, no fault of the program
waits_for() {
    local what=$1
    shift
    comes "$@" && return
    tail -n 20 "$place"/*.log >&2 || true
    left_out "$what does not come up on this machine"
}
waits_for "munge" test -S "$place/munge.socket"
slurmctld -D >"$place/slurmctld.out" 2>&1 &
daemons+=($!)
slurmd -D -N "$name" >"$place/slurmd.out" 2>&1 &
daemons+=($!)
is_idle() { sinfo --noheader --format %T | grep -q idle; }
waits_for "the node" is_idle

cd "$place"
mkdir bin
ln -s "$nestline" bin/nestline
export PATH=$place/bin:$PATH
scene=embedded:scenes/left-tandem-retriever-first.ron
nestline vary "$scene" --ruler --cases 48 --out one >one.log 2>&1
echo "one run: $SECONDS s from the start"

cp "$here/shards.sbatch" .
sbatch --wait shards.sbatch >first.log 2>&1 &
sent=$!
comes test -d many/cases-2-of-3 || { echo "slurm: the second shard does not begin" >&2; exit 1; }
job=$(squeue --noheader --format %A,%F | head -n 1 | cut -d, -f2)
scancel --signal=KILL --full "${job}_2"
# its task was killed, and so the array has failed
if wait "$sent"; then
    echo "slurm: the array did not notice that a shard was killed" >&2
    exit 1
fi
cat first.log
if nestline vary --merge many 2>missing.log; then
    echo "slurm: shards put together though one is missing" >&2
    exit 1
fi
cat missing.log
grep -q -- '--array=2' <(tr -d '\n' <missing.log)
sbatch --array=2 --wait shards.sbatch
ls -l many/*.parquet
nestline vary --merge many >merged.log
"$here/same.sh" one many
[[ -z $python ]] || "$python" "$here/count.py" many
echo "a job array with a killed shard: the bytes of one run; $SECONDS s from the start"
