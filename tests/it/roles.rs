//! Who may call what, held against the API's own descriptors.

use std::collections::BTreeSet;

use baytrim_access::roles;
use prost::Message as _;
use prost_types::FileDescriptorSet;

/// Returns every method of the API as `Service/Method`.
fn methods() -> BTreeSet<String> {
    let set = FileDescriptorSet::decode(baytrim_api::DESCRIPTORS).expect("descriptors decode");
    let mut methods = BTreeSet::new();
    for file in set
        .file
        .iter()
        .filter(|file| file.package() == "baytrim.v1")
    {
        for service in &file.service {
            let of_service = service.method.iter();
            methods
                .extend(of_service.map(|method| format!("{}/{}", service.name(), method.name())));
        }
    }
    methods
}

/// If this fails, a method of the API is denied to everybody because nobody said who may call it.
#[test]
fn every_method_has_its_row() {
    let methods = methods();
    assert!(methods.len() > 20, "found only {} methods", methods.len());
    for method in &methods {
        assert!(
            roles::find(method).is_some(),
            "{method} has no row: add one to ROWS in crates/baytrim-access/src/roles.rs, naming every role that \
             needs it and no other, and a line to the role table of docs/security.md; until then the daemon denies \
             it to everybody"
        );
    }
}
