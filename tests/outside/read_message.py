"""Reads a message as it went out with Python's own email package (RFC 5322, MIME) and prints
what a person would see.

    python3 read_message.py letter.eml
"""

import email
import email.policy
import sys

with open(sys.argv[1], "rb") as file:
    message = email.message_from_binary_file(file, policy=email.policy.default)

defects = [str(defect) for part in message.walk() for defect in part.defects]
for header in message.values():
    defects += [str(defect) for defect in header.defects]
for name in ("From", "To", "Reply-To", "Subject", "Date", "Message-ID"):
    print(f"{name}: {message[name]}")
print(message.get_body(("plain",)).get_content())
for attachment in message.iter_attachments():
    print(attachment.get_filename(), attachment.get_content_type(), len(attachment.get_content()), "bytes")
if defects:
    sys.exit("defects: " + "; ".join(defects))
