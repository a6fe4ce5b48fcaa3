//! Encrypted connections to a server that proves its name.

use baytrim_ledger_postgres::{Address, OpenError, Options, PostgresStore};

use crate::support::{single, told};

fn open(host: &str, roots: &str) -> Result<(), OpenError> {
    let url = told("BAYTRIM_TEST_POSTGRES");
    let (before, after) = url.split_once('@').expect("a host");
    let (_, port) = after.split_once(':').expect("a port");
    let directory = told("BAYTRIM_TEST_POSTGRES_CERTIFICATES");
    // The role of that name is let in by encrypted connections only.
    let before = before.replace("postgres://postgres", "postgres://secure");
    let url = format!("{before}@{host}:{port}?sslmode=verify-full&sslrootcert={directory}/{roots}");
    let address = Address::parse(&url).expect("a good address");
    let options = Options {
        patience: std::time::Duration::from_secs(1),
        ..single()
    };
    PostgresStore::open(&address, &options).map(|_| ())
}

/// If this fails, the ledger does not reach a database that demands encryption, or goes to one that does not prove its name.
#[test]
fn the_server_must_prove_its_name() {
    open("127.0.0.1", "ca.pem").expect("the authority vouches for that address");
    open("localhost", "ca.pem").expect_err("it vouches for no such name");
    open("127.0.0.1", "other-ca.pem").expect_err("another authority");
    let missing = open("127.0.0.1", "none.pem").expect_err("no such file");
    assert!(
        matches!(missing, OpenError::Certificate { .. }),
        "{missing}"
    );
    let plain = told("BAYTRIM_TEST_POSTGRES").replace("postgres://postgres", "postgres://secure");
    let plain = Address::parse(&format!("{plain}?sslmode=disable")).expect("a good address");
    let refused = PostgresStore::open(&plain, &single())
        .err()
        .expect("encryption is demanded");
    let OpenError::Fault(fault) = refused else {
        panic!("{refused}")
    };
    assert!(format!("{fault:?}").contains("no encryption"), "{fault:?}");
}
