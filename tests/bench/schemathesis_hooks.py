"""What Schemathesis has to be told of media types: pieces of uploads are bytes as they are."""

import schemathesis

schemathesis.serializer.alias("application/offset+octet-stream", "application/octet-stream")
