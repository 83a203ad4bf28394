"""A bucket that stands in for one of the cloud's, to publish to. Prints its address; for each line that it
reads it prints what the bucket holds: name, SHA-256 and content type. Ends when nobody asks any more.
"""

import contextlib
import hashlib
import json
import logging
import sys

import boto3
from moto.server import ThreadedMotoServer

logging.getLogger("werkzeug").setLevel(logging.ERROR)
server = ThreadedMotoServer(port=0)
# It greets on stdout, which is ours.
with contextlib.redirect_stdout(sys.stderr):
    server.start()
host, port = server.get_host_and_port()
address = f"http://{host}:{port}"
client = boto3.client(
    "s3",
    endpoint_url=address,
    region_name="us-east-1",
    aws_access_key_id="none",
    aws_secret_access_key="none",
)
client.create_bucket(Bucket="alerts")
print(address, flush=True)
for _ in sys.stdin:
    held = {}
    for found in client.list_objects_v2(Bucket="alerts").get("Contents", []):
        file = client.get_object(Bucket="alerts", Key=found["Key"])
        held[found["Key"]] = [hashlib.sha256(file["Body"].read()).hexdigest(), file["ContentType"]]
    print(json.dumps(held), flush=True)
server.stop()
