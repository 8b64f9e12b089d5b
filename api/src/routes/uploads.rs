//! Photos in pieces, after the resumable upload protocol tus 1.0.0 (<https://tus.io/protocols/resumable-upload>) with the
//! extensions creation, checksum, expiration and termination.

use super::{Answer, Shared};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::{Id, Instant};
use crate::db::uploads::{self, Upload};
use crate::db::{Db, jobs};
use crate::error::ApiError;
use crate::extract::{Key, Octets};
use actix_web::http::header;
use actix_web::web::{Bytes, Data};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, delete, get, head, options, patch, post};
use aws_lc_rs::digest::{SHA1_FOR_LEGACY_USE_ONLY, SHA256, digest};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use chrono::TimeDelta;
use futures_util::stream;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Largest photo, bytes (assumption: twice what a phone's camera makes).
pub const MOST_BYTES: i64 = 20 * 1024 * 1024;
/// So long after its beginning an upload that has not ended is given up (assumption).
const KEPT: TimeDelta = TimeDelta::days(7);
/// Bytes of one person that no photo names yet, at most (assumption: some two hundred photos of a phone's camera).
const MOST_UNNAMED_BYTES: i64 = 1024 * 1024 * 1024;
/// As so much the smallest upload counts, as rows take room, too (assumption).
const LEAST_COUNTED_BYTES: i64 = 64 * 1024;
/// Longest `Upload-Metadata`, bytes (assumption: a type, an id and a file's name several times over).
const LONGEST_METADATA: usize = 2_000;
/// What may be sent.
const MEDIA_TYPES: [&str; 4] = ["image/jpeg", "image/png", "image/webp", "image/heic"];

/// Bytes of a photo, as they are.
#[derive(ToSchema)]
#[schema(value_type = String, format = Binary)]
#[expect(dead_code, reason = "only the document speaks of it")]
struct PhotoBytes(Vec<u8>);

/// What this server understands of tus. Whose network lets only some methods through may name the one that is meant in
/// `X-HTTP-Method-Override`, with any other, at each of these addresses.
#[utoipa::path(tag = "sync", responses((status = 204, description = "Version, extensions, checksums and largest size, as headers")))]
#[options("/v1/uploads")]
pub async fn get_upload_options() -> HttpResponse {
    HttpResponse::NoContent()
        .insert_header(("tus-version", "1.0.0"))
        .insert_header(("tus-extension", "creation,checksum,expiration,termination"))
        .insert_header(("tus-checksum-algorithm", "sha1,sha256"))
        .insert_header(("tus-max-size", MOST_BYTES.to_string()))
        .finish()
}

/// Begins an upload of `Upload-Length` bytes. `Upload-Metadata` names the `filetype` (image/jpeg, image/png, image/webp or
/// image/heic) and, if the phone wants it under an id of its own, the `id`, a UUIDv7; it has at most 2,000 bytes. A second time
/// with the same id finds the first one, unless it was given up: then it begins anew.
///
/// An upload that does not end within 7 days is given up, and a whole one that no photo (`attach_photo`) names after 45.
/// 409 `too_much_unnamed`: the caller has a gigabyte here that no photo names; push these commands, or delete uploads.
#[utoipa::path(tag = "sync", responses((status = 201, description = "Begun; its address is in `Location`")))]
#[post("/v1/uploads")]
pub async fn create_upload(app: Shared, caller: Caller, request: HttpRequest) -> Answer {
    understood(&request)?;
    let person = caller.person()?;
    let length_bytes = number(&request, "upload-length")?;
    if length_bytes > MOST_BYTES {
        return Err(ApiError::TooLarge { limit_bytes: usize::try_from(MOST_BYTES).unwrap_or(0) });
    }
    let told = metadata(&request)?;
    let media_type = told.get("filetype").filter(|kind| MEDIA_TYPES.contains(&kind.as_str())).cloned();
    let media_type = media_type.ok_or_else(|| {
        ApiError::BadHeader(format!("Upload-Metadata: filetype is one of {}", MEDIA_TYPES.join(", ")))
    })?;
    let id = told.get("id").map(|id| id.parse::<Id>().ok().filter(Id::is_v7));
    let id = id.map_or(Ok(None), |id| {
        id.map(Some).ok_or_else(|| ApiError::BadHeader("Upload-Metadata: id is no UUIDv7".into()))
    })?;
    let metadata = text(&request, "upload-metadata").unwrap_or_default().to_owned();
    let upload = app
        .write(&caller, move |db| {
            let id = id.unwrap_or_else(|| Id::new(db.now));
            let expires_at = Some(db.now.plus(KEPT)).filter(|_| length_bytes > 0);
            let new =
                Upload { id, person, media_type, metadata, length_bytes, received_bytes: 0, expires_at };
            match uploads::find(db, id)? {
                Some(known) if known.person == person && known.length_bytes == length_bytes => Ok(known),
                Some(_) => Err(ApiError::Exists),
                None => {
                    room_for(db, person, length_bytes)?;
                    uploads::make_way(db, id)?;
                    uploads::insert(db, &new).map(|()| new).map_err(super::id_taken)
                }
            }
        })
        .await?;
    let address = format!("/v1/uploads/{}", upload.id);
    Ok(placed(HttpResponse::Created().insert_header((header::LOCATION, address)), &upload).finish())
}

/// Whether a person may begin so many bytes more.
fn room_for(db: &mut Db<'_>, person: Id, length_bytes: i64) -> Result<(), ApiError> {
    let counted = |length: i64| length.max(LEAST_COUNTED_BYTES);
    let here: i64 = uploads::unnamed_lengths(db, person)?.into_iter().map(counted).sum();
    if here + counted(length_bytes) <= MOST_UNNAMED_BYTES {
        return Ok(());
    }
    let detail =
        format!("{here} bytes are here that no photo names, and at most {MOST_UNNAMED_BYTES} may be");
    Err(ApiError::conflict("too_much_unnamed", detail))
}

/// How much of an upload is here.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    responses((status = 200, description = "`Upload-Offset`, `Upload-Length` and `Upload-Metadata`"))
)]
#[head("/v1/uploads/{id}")]
pub async fn get_upload_offset(app: Shared, caller: Caller, key: Key, request: HttpRequest) -> Answer {
    understood(&request)?;
    let (person, own) = (caller.person()?, caller.only_own_work());
    let upload = app.read(&caller, move |db| visible(db, key.0, (person, own))).await?;
    let mut response = HttpResponse::Ok();
    response.insert_header(("upload-length", upload.length_bytes.to_string()));
    if !upload.metadata.is_empty() {
        response.insert_header(("upload-metadata", upload.metadata.clone()));
    }
    Ok(placed(&mut response, &upload).insert_header((header::CACHE_CONTROL, "no-store")).finish())
}

/// Adds bytes at `Upload-Offset`, which is how much is here. With `Upload-Checksum` (`sha1` or `sha256` and the digest in
/// base64) bytes that differ are thrown away, and the answer is 460.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    request_body(content = PhotoBytes, content_type = "application/offset+octet-stream"),
    responses((status = 204, description = "Added; `Upload-Offset` is how much is here now"))
)]
#[patch("/v1/uploads/{id}")]
pub async fn continue_upload(
    app: Shared,
    caller: Caller,
    key: Key,
    request: HttpRequest,
    body: Octets,
) -> Answer {
    understood(&request)?;
    let person = caller.person()?;
    let offset = number(&request, "upload-offset");
    let checksum = same_sum(&request, &body.0);
    let write = app.write(&caller, move |db| {
        let upload = uploads::find_locked(db, key.0)?.filter(|upload| upload.person == person);
        let upload = upload.ok_or(ApiError::NotFound)?;
        let offset = offset?;
        if offset != upload.received_bytes {
            let detail = format!("{} bytes are here", upload.received_bytes);
            return Err(ApiError::conflict("wrong_offset", detail));
        }
        checksum?;
        let more = i64::try_from(body.0.len()).unwrap_or(i64::MAX);
        if more > upload.length_bytes - upload.received_bytes {
            return Err(ApiError::TooLarge {
                limit_bytes: usize::try_from(upload.length_bytes).unwrap_or(0),
            });
        }
        // Nothing is nothing to add.
        Ok(if more == 0 { upload } else { uploads::append(db, &upload, &body.0)? })
    });
    let upload = write.await?;
    Ok(placed(&mut HttpResponse::NoContent(), &upload).finish())
}

/// Takes an upload back that is no photo of a job yet.
#[utoipa::path(tag = "sync", params(("id" = Id, Path)), responses((status = 204, description = "Gone")))]
#[delete("/v1/uploads/{id}")]
pub async fn delete_upload(app: Shared, caller: Caller, key: Key, request: HttpRequest) -> Answer {
    understood(&request)?;
    let person = caller.person()?;
    app.write(&caller, move |db| {
        let upload = uploads::find_locked(db, key.0)?.filter(|upload| upload.person == person);
        upload.ok_or(ApiError::NotFound)?;
        if !uploads::jobs_of(db, key.0)?.is_empty() {
            return Err(ApiError::conflict("upload_in_use", "it is the photo of a job"));
        }
        Ok(uploads::delete(db, key.0)?)
    })
    .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The bytes themselves, once all are here: for who sent them, who goes to a job whose photo they are, and the office.
#[utoipa::path(
    tag = "sync",
    params(("id" = Id, Path)),
    responses((
        status = 200,
        content(
            (PhotoBytes = "image/jpeg"),
            (PhotoBytes = "image/png"),
            (PhotoBytes = "image/webp"),
            (PhotoBytes = "image/heic")
        ),
        description = "The photo"
    ))
)]
#[get("/v1/uploads/{id}")]
pub async fn get_upload(app: Shared, caller: Caller, key: Key) -> Answer {
    let (person, own) = (caller.person()?, caller.only_own_work());
    let upload = app.read(&caller, move |db| visible(db, key.0, (person, own))).await?;
    if !upload.is_whole() {
        let detail = format!("{} of {} bytes are here", upload.received_bytes, upload.length_bytes);
        return Err(ApiError::conflict("upload_incomplete", detail));
    }
    let parts = Parts { app, caller, upload: upload.id, next: 0, end: upload.length_bytes };
    Ok(HttpResponse::Ok()
        .content_type(upload.media_type)
        .insert_header((header::CACHE_CONTROL, "private, no-cache"))
        .streaming(stream::try_unfold(parts, |parts| parts.next())))
}

struct Parts {
    app: Data<App>,
    caller: Caller,
    upload: Id,
    next: i64,
    end: i64,
}

impl Parts {
    async fn next(mut self) -> Result<Option<(Bytes, Parts)>, ApiError> {
        if self.next >= self.end {
            return Ok(None);
        }
        let (upload, from) = (self.upload, self.next);
        let part = self.app.read(&self.caller, move |db| Ok(uploads::part(db, upload, from)?));
        let part = part.await?.ok_or_else(|| ApiError::Internal(format!("no part at {from}")))?;
        self.next += i64::try_from(part.len()).unwrap_or(i64::MAX);
        Ok(Some((part.into(), self)))
    }
}

fn visible(db: &mut Db<'_>, id: Id, (person, technician): (Id, Option<Id>)) -> Result<Upload, ApiError> {
    let upload = uploads::find(db, id)?.ok_or(ApiError::NotFound)?;
    let Some(technician) = technician.filter(|_| upload.person != person) else { return Ok(upload) };
    for job in uploads::jobs_of(db, id)? {
        if jobs::is_done_by(db, job, technician)? {
            return Ok(upload);
        }
    }
    Err(ApiError::NotFound)
}

/// How much is here, and until when it is waited for.
fn placed<'a>(response: &'a mut HttpResponseBuilder, upload: &Upload) -> &'a mut HttpResponseBuilder {
    response.insert_header(("upload-offset", upload.received_bytes.to_string()));
    if let Some(at) = upload.expires_at {
        response.insert_header(("upload-expires", http_date(at)));
    }
    response
}

/// RFC 9110, 5.6.7.
fn http_date(at: Instant) -> String {
    at.utc().format("%a, %d %b %Y %H:%M:%S GMT").to_string()
}

/// Refuses another version of the protocol than ours.
fn understood(request: &HttpRequest) -> Result<(), ApiError> {
    match text(request, "tus-resumable") {
        None | Some("1.0.0") => Ok(()),
        Some(_) => Err(ApiError::TusVersion),
    }
}

fn text<'a>(request: &'a HttpRequest, name: &str) -> Option<&'a str> {
    request.headers().get(name).and_then(|value| value.to_str().ok())
}

fn number(request: &HttpRequest, name: &str) -> Result<i64, ApiError> {
    let number = text(request, name).and_then(|text| text.parse::<i64>().ok()).filter(|number| *number >= 0);
    number.ok_or_else(|| ApiError::BadHeader(format!("{name}: a number of bytes")))
}

/// Names, each with a text in base64, parted by commas.
fn metadata(request: &HttpRequest) -> Result<BTreeMap<String, String>, ApiError> {
    let wrong =
        || ApiError::BadHeader("Upload-Metadata: names, each with a text in base64, parted by commas".into());
    let text = text(request, "upload-metadata").unwrap_or_default();
    if text.len() > LONGEST_METADATA {
        return Err(ApiError::BadHeader(format!("Upload-Metadata: at most {LONGEST_METADATA} bytes")));
    }
    let mut told = BTreeMap::new();
    for pair in text.split(',').filter(|pair| !pair.trim().is_empty()) {
        let (name, value) = pair.trim().split_once(' ').unwrap_or((pair.trim(), ""));
        let bytes = STANDARD.decode(value.trim()).map_err(|_| wrong())?;
        told.insert(name.to_owned(), String::from_utf8(bytes).map_err(|_| wrong())?);
    }
    Ok(told)
}

/// Compares bytes with the checksum that came with them.
fn same_sum(request: &HttpRequest, bytes: &[u8]) -> Result<(), ApiError> {
    let Some(told) = text(request, "upload-checksum") else { return Ok(()) };
    let wrong = || ApiError::BadHeader("Upload-Checksum: sha1 or sha256 and the digest in base64".into());
    let (algorithm, sum) = told.split_once(' ').ok_or_else(wrong)?;
    let algorithm = match algorithm {
        "sha1" => &SHA1_FOR_LEGACY_USE_ONLY,
        "sha256" => &SHA256,
        _ => return Err(wrong()),
    };
    let sum = STANDARD.decode(sum.trim()).map_err(|_| wrong())?;
    if digest(algorithm, bytes).as_ref() == sum { Ok(()) } else { Err(ApiError::ChecksumMismatch) }
}
