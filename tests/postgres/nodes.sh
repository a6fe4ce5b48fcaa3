#!/usr/bin/env bash
# Three database nodes, each in a network of its own that this script makes: PostgreSQL, Patroni that fails over, etcd
# that Patroni asks. And the faults that happen to them. faults.sh calls it, in namespaces that end with it.
#
#   nodes.sh make | start NODE | primary | kill NODE | kill-database NODE | pause NODE | resume NODE
#          | cut PLACE PLACE | mend PLACE PLACE | isolate PLACE | join PLACE
#
# PLACE is a node (a, b, c) or a machine for a daemon (d1, d2, d3). BAYTRIM_TEST_NODES is the directory of their data.
set -euo pipefail
here=$BAYTRIM_TEST_NODES
bin=$BAYTRIM_TEST_POSTGRES_BIN
patroni=${BAYTRIM_TEST_PATRONI:-patroni}
nodes=(a b c)
declare -A ip=([a]=10.77.0.1 [b]=10.77.0.2 [c]=10.77.0.3 [d1]=10.77.0.11 [d2]=10.77.0.12 [d3]=10.77.0.13 [hub]=10.77.0.100)

in_node() { local node=$1; shift; ip netns exec "$node" "$@"; }

# All processes of a node, or those whose program has that name.
pids() {
    local pid
    for pid in $(ip netns pids "$1"); do
        [ $# -lt 2 ] || [ "$(cat "/proc/$pid/comm" 2>/dev/null)" = "$2" ] || continue
        echo "$pid"
    done
}

signal() {
    local signal=$1 all=()
    shift
    # Twice: what is started between the list and the signal is in the second list.
    for _ in 1 2; do
        mapfile -t all < <(pids "$@")
        [ "${#all[@]}" -eq 0 ] || kill "-$signal" "${all[@]}" 2>/dev/null || true
    done
}

make_networks() {
    ip link set lo up
    ip link add hub0 type bridge
    ip addr add "${ip[hub]}/24" dev hub0
    ip link set hub0 up
    local place
    for place in a b c d1 d2 d3; do
        ip netns add "$place"
        ip link add "to-$place" type veth peer name eth0 netns "$place"
        ip link set "to-$place" master hub0 up
        in_node "$place" ip link set lo up
        in_node "$place" ip addr add "${ip[$place]}/24" dev eth0
        in_node "$place" ip link set eth0 up
    done
}

write_patroni() {
    local node=$1
    cat >"$here/$node/patroni.yml" <<YAML
scope: baytrim
name: $node
restapi: {listen: '${ip[$node]}:8008', connect_address: '${ip[$node]}:8008'}
etcd3: {hosts: ['10.77.0.1:2379', '10.77.0.2:2379', '10.77.0.3:2379']}
bootstrap:
  dcs:
    ttl: 20
    loop_wait: 2
    retry_timeout: 4
    maximum_lag_on_failover: 104857600
    primary_start_timeout: 0
    synchronous_mode: true
    synchronous_mode_strict: true
    postgresql:
      use_pg_rewind: true
      use_slots: true
      parameters: {synchronous_commit: 'on', max_connections: 100, shared_buffers: 32MB, wal_keep_size: 512MB, wal_sender_timeout: 5s, wal_receiver_timeout: 5s, tcp_user_timeout: 5s}
  initdb: [{encoding: UTF8}, data-checksums, {auth: trust}, no-sync]
postgresql:
  listen: '${ip[$node]}:5432'
  connect_address: '${ip[$node]}:5432'
  data_dir: $here/$node/data
  bin_dir: $bin
  pgpass: $here/$node/pgpass
  remove_data_directory_on_rewind_failure: true
  remove_data_directory_on_diverged_timelines: true
  basebackup: [{checkpoint: fast}]
  authentication:
    superuser: {username: postgres, password: none}
    replication: {username: postgres, password: none}
  pg_hba: ['local all all trust', 'host all all 10.77.0.0/24 trust', 'host replication all 10.77.0.0/24 trust']
  parameters: {unix_socket_directories: '$here/$node'}
YAML
}

start() {
    local node=$1 cluster='' other
    # What was killed leaves half-dead children for a moment.
    for _ in $(seq 50); do [ -n "$(pids "$node")" ] || break; sleep 0.1; done
    for other in "${nodes[@]}"; do cluster+="$other=http://${ip[$other]}:2380,"; done
    cd "$here/$node"
    in_node "$node" setpriv --reuid postgres --regid postgres --clear-groups etcd --name "$node" --data-dir "$here/$node/etcd" --enable-v2=false \
        --heartbeat-interval 200 --election-timeout 2000 --snapshot-count 5000 \
        --listen-peer-urls "http://${ip[$node]}:2380" --initial-advertise-peer-urls "http://${ip[$node]}:2380" \
        --listen-client-urls "http://${ip[$node]}:2379" --advertise-client-urls "http://${ip[$node]}:2379" \
        --initial-cluster "${cluster%,}" --initial-cluster-state "$([ -d etcd/member ] && echo existing || echo new)" \
        </dev/null >>etcd.log 2>&1 &
    in_node "$node" setpriv --reuid postgres --regid postgres --clear-groups "$patroni" patroni.yml </dev/null >>patroni.log 2>&1 &
}

primary() {
    local node
    for node in "${nodes[@]}"; do
        if [ "$(curl -s -m 2 -o /dev/null -w '%{http_code}' "http://${ip[$node]}:8008/primary" || true)" = 200 ]; then
            echo "$node"
            return
        fi
    done
}

# Lets packets from one place to another go to a machine that is not there: the sender hears nothing.
deafen() { in_node "$1" ip neigh replace "${ip[$2]}" lladdr 02:00:00:00:00:77 dev eth0 nud permanent; }

listen_again() { in_node "$1" ip neigh del "${ip[$2]}" dev eth0 2>/dev/null || true; }

case $1 in
make)
    make_networks
    for node in "${nodes[@]}"; do
        mkdir -p "$here/$node"
        write_patroni "$node"
        chown -R postgres:postgres "$here/$node"
        chmod 700 "$here/$node"
        "$0" start "$node"
    done
    ;;
start) start "$2" ;;
primary) primary ;;
kill) signal KILL "$2" ;;
kill-database) signal KILL "$2" postgres ;;
pause) signal STOP "$2" ;;
resume) signal CONT "$2" ;;
cut) deafen "$2" "$3"; deafen "$3" "$2" ;;
isolate) ip link set "to-$2" down ;;
mend) listen_again "$2" "$3"; listen_again "$3" "$2" ;;
join) ip link set "to-$2" up ;;
*) echo "nodes.sh: no such command: $1" >&2; exit 2 ;;
esac
