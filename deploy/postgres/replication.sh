#!/bin/sh
# Lets standbys within the services' own network follow, with the password. Run once, when db1 is made.
set -eu
echo "host replication postgres samenet scram-sha-256" >> "$PGDATA/pg_hba.conf"
