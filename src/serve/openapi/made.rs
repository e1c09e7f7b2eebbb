//! The `OpenAPI` document made from the types, and held against the one that is served. With
//! `UPDATE=1` it is written anew.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::{Value, json};

use super::DOCUMENT;
use crate::serve::front::PageView;
use crate::serve::http::addresses;
use crate::serve::pairing::{COOKIE, EnterBody};
use crate::serve::{
    BeatView, BellView, BenchView, CodeView, DeviceView, ForgetBody, ForgottenView, MetalView,
    OnBody, OrderBody, ReadingView, RecipesView, RefusalBody, ReplyBody,
};

/// Collects the schemas of what is received and of what is sent.
struct Schemas {
    sent: SchemaGenerator,
    received: SchemaGenerator,
}

impl Schemas {
    fn new() -> Self {
        let place = |mut settings: SchemaSettings| {
            settings.definitions_path = "/components/schemas".into();
            settings.meta_schema = None;
            settings
        };
        let base = SchemaSettings::draft2020_12;
        Self {
            sent: place(base().for_serialize()).into_generator(),
            received: place(base().for_deserialize()).into_generator(),
        }
    }

    fn sends<T: JsonSchema>(&mut self) -> Value {
        self.sent.subschema_for::<T>().to_value()
    }

    fn receives<T: JsonSchema>(&mut self) -> Value {
        self.received.subschema_for::<T>().to_value()
    }

    fn all(mut self) -> Value {
        let mut all = self.sent.take_definitions(true);
        for (name, schema) in self.received.take_definitions(true) {
            assert!(all.insert(name.clone(), schema).is_none(), "{name} twice");
        }
        let on = self.received.subschema_for::<OnBody>().to_value();
        for (name, schema) in self.received.take_definitions(true) {
            all.insert(name, schema);
        }
        // Every order takes what it is given on beside its own members.
        let orders = all
            .get_mut("OrderBody")
            .and_then(|orders| orders.get_mut("oneOf"));
        for order in orders.and_then(Value::as_array_mut).into_iter().flatten() {
            if let Some(members) = order.get_mut("properties").and_then(Value::as_object_mut) {
                members.insert("on".to_owned(), on.clone());
            }
        }
        all.sort_keys();
        all.into()
    }
}

fn gives(what: &str, schema: &Value) -> Value {
    json!({"description": what, "content": {"application/json": {"schema": schema}}})
}

/// Orders as they are given in a job, each read back.
fn examples() -> Value {
    let orders = [
        json!({
            "order": "open", "ticket": "K-1042", "client": "bangle", "target": "18k",
            "colour": "yellow", "use": "sheet",
            "add": [{"metal": "fine-silver"}, {"metal": "copper", "share": "2"}],
        }),
        json!({"order": "lot", "fineness": "916", "basis": "fire-assay"}),
        json!({"order": "add"}),
        json!({"order": "add", "metal": "fine-gold"}),
        json!({"order": "take"}),
        json!({"order": "button"}),
        json!({"order": "assay", "fineness": "751.2", "basis": "fire-assay"}),
    ];
    // As they would be taken with the shelf that is shipped.
    let shelf = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/config/shelf.toml"));
    let on_shelf = |metal: &str| shelf.contains(&format!("key = \"{metal}\""));
    let named = orders.into_iter().zip(1..).map(|(order, n)| {
        match serde_json::from_value::<OrderBody>(order.clone()).unwrap() {
            OrderBody::Open { add, .. } => assert!(add.iter().all(|add| on_shelf(&add.metal))),
            OrderBody::Add { metal: Some(metal) } => assert!(on_shelf(&metal)),
            _ => {}
        }
        let name = format!("{n}-{}", order["order"].as_str().unwrap());
        (name, json!({"value": order}))
    });
    Value::Object(named.collect())
}

/// The document as the types are.
#[allow(clippy::too_many_lines)] // one document, told in one piece
fn made() -> Value {
    let mut schemas = Schemas::new();
    let refusal = schemas.sends::<RefusalBody>();
    let bench_view = schemas.sends::<BenchView>();
    let metal = schemas.sends::<MetalView>();
    let name = json!({
        "name": "name", "in": "path", "required": true,
        "description": "The bench; - is the only one.",
        "example": "-",
        "schema": {"type": "string"},
    });
    let no = |what: &str| gives(what, &refusal);
    // What the gate on TCP can answer to anything.
    let refused = |mut answers: Value| {
        answers["401"] = no("On loopback: the token is missing or wrong.");
        answers["403"] = no(
            "Over TCP: it comes from a page of another address, or does not say from which; or from a device that is not paired.",
        );
        answers
    };
    let only = |mut answers: Value| {
        answers["401"] = no("On loopback: the token is missing or wrong.");
        answers["403"] = no("It is not for those who come in there, or as for every address.");
        answers["409"] = no("Nothing listens beyond loopback, or that cannot be done now.");
        answers
    };
    let sent = |mut answers: Value| {
        answers["400"] = no("It is no JSON.");
        answers["408"] = no("It did not arrive whole in ten seconds.");
        answers["413"] = no("It is larger than any.");
        answers["415"] = no("Its content type is not application/json.");
        answers["422"] = no("It is not of the form that is described.");
        answers["503"] = no("The list of devices could not be written in time.");
        answers
    };
    let unknown = no("There is no such bench, or several and none was named.");
    let slow = no("The bench did not answer in time.");
    // Each kind of event is named with what its data holds.
    for kind in [
        schemas.sends::<ReadingView>(),
        schemas.sends::<BellView>(),
        schemas.sends::<BeatView>(),
    ] {
        assert!(kind["$ref"].is_string());
    }
    let paths = json!({
        "/v1/benches": {"get": {
            "operationId": "benches",
            "summary": "Every bench, whole, in the order of the settings.",
            "responses": refused(json!({
                "200": gives("The benches.", &json!({"type": "array", "items": bench_view})),
                "503": slow,
            })),
        }},
        "/v1/bench/{name}": {"get": {
            "operationId": "bench",
            "summary": "One bench, whole.",
            "parameters": [name],
            "responses": refused(json!({
                "200": gives("The bench.", &bench_view), "404": unknown, "503": slow,
            })),
        }},
        "/v1/bench/{name}/events": {"get": {
            "operationId": "events",
            "summary": "The bench live, as server-sent events, until the service stops.",
            "description": "The first event is a state, unless Last-Event-ID names one that is still kept: then the bells that were missed come first. What is late and was replaced since is left out, so a client that is slow is given what is so and nothing that was; bells are not left out. A beat comes once a second: a client that hears none for three seconds is cut off. The data of a state is a BenchView, that of a reading a ReadingView, that of a bell a BellView, that of a beat a BeatView; each says in t when it was so.",
            "parameters": [
                name,
                {
                    "name": "Last-Event-ID", "in": "header",
                    "description": "The id of the last event that was heard.",
                    "schema": {"type": "string"},
                },
                {
                    "name": "token", "in": "query",
                    "description": "The token, for a browser's EventSource, which sends no header of one's own.",
                    "schema": {"type": "string"},
                },
            ],
            "responses": refused(json!({
                "200": {
                    "description": "Events named state, reading, bell and beat, each with an id.",
                    "content": {"text/event-stream": {"schema": {"type": "string"}}},
                },
                "404": unknown,
            })),
        }},
        "/v1/bench/{name}/recipes": {"get": {
            "operationId": "recipes",
            "summary": "What could be added to the lots of the open job, the recipe to prefer first.",
            "parameters": [name],
            "responses": refused(json!({
                "200": gives("The recipes; none before a lot is weighed.", &schemas.sends::<RecipesView>()),
                "404": unknown, "409": no("No job is open."), "503": slow,
            })),
        }},
        "/v1/bench/{name}/order": {"post": {
            "operationId": "order",
            "summary": "An order to the bench.",
            "description": "Over TCP it needs an Origin header, that of the page.",
            "parameters": [name],
            "requestBody": {
                "required": true,
                "content": {"application/json": {
                    "schema": schemas.receives::<OrderBody>(),
                    "examples": examples(),
                }},
            },
            "responses": refused(json!({
                "200": gives("It was carried out.", &schemas.sends::<ReplyBody>()),
                "400": no("It is no JSON."),
                "404": unknown,
                "408": no("It did not arrive whole in ten seconds."),
                "409": no("The bench or the job cannot do that now."),
                "413": no("It is larger than any order."),
                "415": no("Its content type is not application/json."),
                "422": no("It is no order that is known, or something in it means nothing."),
                "503": no("order-not-carried-out: it was not begun in time, and is not carried out later either."),
                "504": no("order-unknown: it was begun, and whether it was carried out is not known yet. The same order with the same id is carried out once at most."),
            })),
        }},
        "/v1/shelf": {"get": {
            "operationId": "shelf",
            "summary": "The shop's metals, in the order of the shelf's file.",
            "responses": refused(json!({
                "200": gives("The metals.", &json!({"type": "array", "items": metal})),
            })),
        }},
        "/v1/page": {"get": {
            "operationId": "page",
            "summary": "Where the bench's page is to be found.",
            "responses": refused(json!({"200": gives("The page.", &schemas.sends::<PageView>())})),
        }},
        "/v1/pair": {"post": {
            "operationId": "pair",
            "summary": "Shows a code that pairs one device, in place of any other.",
            "description": "On the unix socket alone.",
            "responses": only(json!({"200": gives("The code.", &schemas.sends::<CodeView>())})),
        }},
        "/v1/pair/enter": {"post": {
            "operationId": "enter",
            "summary": "Pairs the device that sends the code.",
            "description": "Beyond loopback alone. It needs an Origin header, that of the page, and no cookie yet: the answer sets it. At most five wrong codes are looked at in a minute and for one code, which is then void.",
            "requestBody": {
                "required": true,
                "content": {"application/json": {"schema": schemas.receives::<EnterBody>()}},
            },
            "responses": sent(only(json!({
                "200": gives("It is paired.", &schemas.sends::<DeviceView>()),
                "429": no("There were five wrong codes within a minute."),
            }))),
        }},
        "/v1/devices": {"get": {
            "operationId": "devices",
            "summary": "Every paired device, the oldest first.",
            "description": "On the unix socket alone.",
            "responses": only(json!({
                "200": gives("The devices.", &json!({"type": "array", "items": schemas.sends::<DeviceView>()})),
            })),
        }},
        "/v1/devices/forget": {"post": {
            "operationId": "forget",
            "summary": "Forgets a device, or all: what it has open ends.",
            "description": "On the unix socket alone.",
            "requestBody": {
                "required": true,
                "content": {"application/json": {"schema": schemas.receives::<ForgetBody>()}},
            },
            "responses": sent(only(json!({
                "200": gives("They are forgotten.", &schemas.sends::<ForgottenView>()),
                "404": no("No device has that name."),
            }))),
        }},
        "/v1/openapi.json": {"get": {
            "operationId": "document",
            "summary": "This document.",
            "responses": refused(json!({"200": gives("The document.", &json!({"type": "object"}))})),
        }},
    });
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "panbell",
            "version": "1",
            "license": {"name": "MIT", "identifier": "MIT"},
            "description": "The service behind a goldsmith's bench balance: live state, and orders. It is the same on the unix socket in the runtime folder, where the mode of the socket lets in its owner alone, and on TCP at the address that panbell page prints, where everything needs the token in that address and the exact Host. Where the settings open it beyond loopback, it is encrypted, and everything needs the cookie of a paired device and the exact Host. Masses and finenesses are strings, as the balance shows them.",
        },
        "servers": [{"url": "/"}],
        "security": [{"token": []}, {"device": []}],
        "paths": paths,
        "components": {
            "schemas": schemas.all(),
            "securitySchemes": {
                "token": {
                    "type": "http", "scheme": "bearer",
                    "description": "The token in the address that panbell page prints. On loopback only.",
                },
                "device": {
                    "type": "apiKey", "in": "cookie", "name": COOKIE,
                    "description": "What /v1/pair/enter gave the device. Beyond loopback only.",
                },
            },
        },
    })
}

#[test]
fn the_document_is_what_the_types_and_routes_are() {
    let made = made();
    let text = format!("{}\n", serde_json::to_string_pretty(&made).unwrap());
    if std::env::var_os("UPDATE").is_some() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/src/serve/openapi.json");
        std::fs::write(path, &text).unwrap();
    } else {
        assert!(
            text == DOCUMENT,
            "the types have changed: UPDATE=1 cargo test --lib openapi writes the document anew"
        );
    }
    let mut described: Vec<String> = made["paths"]
        .as_object()
        .unwrap()
        .iter()
        .flat_map(|(path, methods)| {
            let methods = methods.as_object().unwrap().keys();
            methods.map(move |method| format!("{method} {path}"))
        })
        .collect();
    let mut routes: Vec<String> = addresses().collect();
    described.sort();
    routes.sort();
    assert_eq!(described, routes);
}
