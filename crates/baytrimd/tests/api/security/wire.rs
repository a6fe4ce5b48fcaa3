//! Any method of the API called with any bytes, as the descriptors say what there is.

use std::collections::BTreeMap;

use prost::Message as _;
use prost::bytes::{Buf as _, BufMut as _};
use prost_types::field_descriptor_proto::Type;
use prost_types::{DescriptorProto, FileDescriptorSet};
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::codegen::http::uri::PathAndQuery;
use tonic::transport::Channel;
use tonic::{Request, Status};

use crate::harness::with_token;

/// A method of the API.
pub struct Method {
    /// `Service/Method`.
    pub name: String,
    input: String,
}

/// The API as its descriptors tell it.
pub struct Api {
    pub methods: Vec<Method>,
    messages: BTreeMap<String, DescriptorProto>,
}

impl Api {
    pub fn read() -> Self {
        let set = FileDescriptorSet::decode(baytrim_api::DESCRIPTORS).unwrap();
        let own: Vec<_> = set
            .file
            .iter()
            .filter(|file| file.package() == "baytrim.v1")
            .collect();
        let mut messages = BTreeMap::new();
        for message in own.iter().flat_map(|file| &file.message_type) {
            messages.insert(format!(".baytrim.v1.{}", message.name()), message.clone());
        }
        let mut methods = Vec::new();
        for service in own.iter().flat_map(|file| &file.service) {
            let of_service = service.method.iter().map(|method| Method {
                name: format!("{}/{}", service.name(), method.name()),
                input: method.input_type().to_owned(),
            });
            methods.extend(of_service);
        }
        assert!(methods.len() > 20, "found only {} methods", methods.len());
        Self { methods, messages }
    }

    /// Returns a request of a method in which every text, at every depth, is `text`.
    ///
    /// Where a message takes one of several, the first is taken: what opens a stream.
    pub fn filled(&self, method: &Method, text: &str) -> Vec<u8> {
        self.fill(&method.input, text, 0)
    }

    fn fill(&self, name: &str, text: &str, depth: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        let (Some(message), true) = (self.messages.get(name), depth < 4) else {
            return bytes;
        };
        let mut is_chosen = false;
        for field in &message.field {
            let is_choice = field.oneof_index.is_some() && !field.proto3_optional();
            if is_choice && std::mem::replace(&mut is_chosen, true) {
                continue;
            }
            let content = match field.r#type() {
                Type::String | Type::Bytes => text.as_bytes().to_vec(),
                Type::Message => self.fill(field.type_name(), text, depth + 1),
                _ => continue,
            };
            let key = (u64::from(field.number().unsigned_abs()) << 3) | 2;
            prost::encoding::encode_varint(key, &mut bytes);
            prost::encoding::encode_varint(content.len() as u64, &mut bytes);
            bytes.extend(content);
        }
        bytes
    }
}

/// Calls a method with the bytes of one message, the client's side ended after it; returns how it ended, or that
/// something came.
pub async fn call(
    channel: &Channel,
    method: &str,
    token: Option<&str>,
    message: Vec<u8>,
) -> Result<(), Status> {
    let mut grpc = tonic::client::Grpc::new(channel.clone());
    grpc.ready().await.unwrap();
    let path: PathAndQuery = format!("/baytrim.v1.{method}").parse().unwrap();
    let messages = tokio_stream::iter([message]);
    let request = match token {
        Some(token) => with_token(token, messages),
        None => Request::new(messages),
    };
    let mut answers = grpc.streaming(request, path, Raw).await?.into_inner();
    answers.message().await.map(|_| ())
}

/// Bytes as they are.
struct Raw;

impl Codec for Raw {
    type Encode = Vec<u8>;
    type Decode = Vec<u8>;
    type Encoder = Self;
    type Decoder = Self;

    fn encoder(&mut self) -> Self {
        Self
    }

    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for Raw {
    type Item = Vec<u8>;
    type Error = Status;

    fn encode(&mut self, item: Vec<u8>, buffer: &mut EncodeBuf<'_>) -> Result<(), Status> {
        buffer.put_slice(&item);
        Ok(())
    }
}

impl Decoder for Raw {
    type Item = Vec<u8>;
    type Error = Status;

    fn decode(&mut self, buffer: &mut DecodeBuf<'_>) -> Result<Option<Vec<u8>>, Status> {
        let length = buffer.remaining();
        Ok(Some(buffer.copy_to_bytes(length).to_vec()))
    }
}
