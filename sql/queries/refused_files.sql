select root, path_text, refusal_code, refusal_where, refusal_text from core.arrival where state = 'refused' order by root, path_text, id
