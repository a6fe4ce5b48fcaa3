//! Stands between a store and its database, and cuts connections just before or just after an insertion has landed.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use crate::support::told;

/// What insertions of records and chunks hold, and nothing else that the store sends.
const MARKS: [&[u8]; 2] = [b"insert into baytrim_record", b"insert into baytrim_chunk"];

/// What has been cut.
#[derive(Default)]
pub(crate) struct Cuts {
    /// Insertions that came by.
    seen: AtomicU64,
    /// Connections that were cut before the database had the insertion.
    pub(crate) before: AtomicU64,
    /// Connections that were cut once it had answered, with the answer kept back.
    pub(crate) after: AtomicU64,
}

/// Of every five insertions, one is cut before and one after.
const EVERY: u64 = 5;

/// Starts a proxy to the shared database; returns its port.
pub(crate) fn start() -> (u16, Arc<Cuts>) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let cuts = Arc::new(Cuts::default());
    let counted = Arc::clone(&cuts);
    thread::spawn(move || {
        for client in listener.incoming() {
            let client = client.expect("a connection");
            let cuts = Arc::clone(&counted);
            thread::spawn(move || serve(&client, &cuts));
        }
    });
    (port, cuts)
}

fn database() -> TcpStream {
    let url = told("BAYTRIM_TEST_POSTGRES");
    let (_, rest) = url.split_once('@').expect("a host");
    let (host, _) = rest.split_once('/').expect("a database");
    TcpStream::connect(host).expect("the database is there")
}

fn serve(client: &TcpStream, cuts: &Cuts) {
    let server = database();
    thread::scope(|scope| {
        let answers = scope.spawn(|| pass(&server, client));
        requests(client, &server, cuts);
        let _ = server.shutdown(Shutdown::Both);
        let _ = client.shutdown(Shutdown::Both);
        let _ = answers.join();
    });
}

/// Passes answers on until either side ends.
fn pass(mut from: &TcpStream, mut to: &TcpStream) {
    let mut buffer = vec![0; 64 << 10];
    while let Ok(count @ 1..) = from.read(&mut buffer) {
        if to.write_all(&buffer[..count]).is_err() {
            return;
        }
    }
}

/// Passes requests on until one is to be cut.
fn requests(mut client: &TcpStream, mut server: &TcpStream, cuts: &Cuts) {
    let mut buffer = vec![0; 64 << 10];
    while let Ok(count @ 1..) = client.read(&mut buffer) {
        let part = &buffer[..count];
        let is_insertion = MARKS
            .iter()
            .any(|mark| part.windows(mark.len()).any(|window| window == *mark));
        let number = if is_insertion {
            cuts.seen.fetch_add(1, Ordering::SeqCst) % EVERY
        } else {
            EVERY
        };
        if number == 1 {
            cuts.before.fetch_add(1, Ordering::SeqCst);
            return;
        }
        if number == 3 {
            // Nothing is heard any more, and the database is given time to commit what it has got.
            let _ = client.shutdown(Shutdown::Write);
            let _ = server.write_all(part);
            let _ = server.flush();
            thread::sleep(std::time::Duration::from_millis(20));
            cuts.after.fetch_add(1, Ordering::SeqCst);
            return;
        }
        if server.write_all(part).is_err() {
            return;
        }
    }
}
