"""What the HTTP interface takes at most."""

#: nobody may keep a request waiting longer
LONGEST_WAIT_S = 60.0
#: a sign of life on a quiet event stream
BEAT_S = 15.0
#: a client that takes nothing for so long is let go
STUCK_S = 30.0
LARGEST_BODY = 16 * 1024
#: no call sign is longer
LONGEST_CALL = 32
SEQ_LIMIT = 2**53
