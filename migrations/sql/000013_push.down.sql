DROP TABLE push_sent, push_note, push_phone, push_key;
